"""Headers on every answer, errors and files included: what a page may load, and what it tells others."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from studio.front import sheets

CLIENT = "/with/"  # a client's page; its address is its key
_STYLES = " ".join(sheets.source(face) for face in sheets.FACES)
_SHARED = "base-uri 'none'; frame-ancestors 'none'"
POLICY = (
    f"default-src 'none'; script-src 'self'; style-src 'self' {_STYLES}; img-src 'self' blob:; connect-src 'self'; "
    f"manifest-src 'self'; worker-src 'self'; form-action 'self'; {_SHARED}"
)
# The client's page has no script and no form, so it may have none.
CLIENT_POLICY = f"default-src 'none'; style-src {_STYLES}; img-src 'self'; form-action 'none'; {_SHARED}"
PERMISSIONS = "camera=(self), microphone=(), geolocation=(), payment=(), usb=(), midi=(), browsing-topics=()"


class Headers:
    """Stands first in MIDDLEWARE, so that it sees what the others answer too."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        client = request.path_info.startswith(CLIENT)
        # A view may have set a stricter policy of its own, as the letter preview does.
        response.headers.setdefault("Content-Security-Policy", CLIENT_POLICY if client else POLICY)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        # Elsewhere not no-referrer: the browser would then send "Origin: null" with forms, and each would be refused.
        response.headers["Referrer-Policy"] = "no-referrer" if client else "same-origin"
        if client:
            response.headers["X-Robots-Tag"] = "noindex, nofollow, noarchive"
            response.headers.setdefault("Cache-Control", "private, no-store")
        return response
