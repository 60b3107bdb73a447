"""Photos, always through a view that knows who asks."""

from django.http import FileResponse, Http404, HttpRequest
from django.views.decorators.http import require_safe

from studio.front.signin import signed_in
from studio.workshop.models import Rendition
from studio.workshop.storage import open_rendition


def serve_rendition(sha256: str) -> FileResponse:
    """The file itself. Whether this person may see it is the caller's to know. Raises Http404 where there is none."""
    try:
        file = open_rendition(sha256)
    except FileNotFoundError:
        raise Http404 from None
    response = FileResponse(file, content_type="image/jpeg")
    # The address holds the content's hash, so what it names never changes.
    response.headers["Cache-Control"] = "private, max-age=604800, immutable"
    return response


@require_safe
@signed_in
def photo(request: HttpRequest, sha256: str) -> FileResponse:
    if not Rendition.objects.filter(sha256=sha256).exists():
        raise Http404
    return serve_rendition(sha256)
