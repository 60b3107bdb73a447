"""Where each face stands. The addresses of the faces themselves are in their own ``urls.py``."""

from django.urls import include, path

from studio.workshop.admin import site

urlpatterns = [
    path("bench/", include("studio.bench.urls")),
    path("office/", include("studio.office.urls")),
    path("with/", include("clientportal.urls")),
    path("letterbox/", include("studio.letterbox.urls")),
    path("admin/", site.urls),
    path("", include("studio.front.urls")),
]

handler400 = "studio.front.errors.bad_request"
handler403 = "studio.front.errors.forbidden"
handler404 = "studio.front.errors.not_found"
handler500 = "studio.front.errors.server_error"
