"""Photos, always through a view that knows who asks."""

from django.http import FileResponse, Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_safe

from studio.front.signin import signed_in
from studio.workshop.models import Rendition
from studio.workshop.storage import open_rendition


def serve_rendition(request: HttpRequest, sha256: str) -> HttpResponseBase:
    """The file itself, whole: a request for a part of it may be answered so (RFC 9110, 14.2).

    Whether this person may see it is the caller's to know. Raises Http404 where there is none.
    """
    try:
        file = open_rendition(sha256)
    except FileNotFoundError:
        raise Http404 from None
    etag = f'"{sha256}"'
    response: HttpResponseBase = FileResponse(file, content_type="image/jpeg")
    if (unchanged := get_conditional_response(request, etag=etag)) is not None:  # RFC 9110, 13.1
        file.close()
        response = unchanged
    # The address holds the content's hash, so what it names never changes.
    response.headers["Cache-Control"] = "private, max-age=604800, immutable"
    response.headers["ETag"] = etag
    return response


@require_safe
@signed_in
def photo(request: HttpRequest, sha256: str) -> HttpResponseBase:
    if not Rendition.objects.filter(sha256=sha256).exists():
        raise Http404
    return serve_rendition(request, sha256)
