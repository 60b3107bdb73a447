"""The addresses of a client. The token comes first in each of them, and its shape is looked at before anything else."""

from django.urls import path, register_converter

from clientportal import views


class TokenConverter:
    """A public id, a dot and 24 characters of base64url (``workshop/links.py``)."""

    regex = r"[0-9a-z]{1,16}\.[0-9A-Za-z_-]{24}"

    def to_python(self, value: str) -> str:
        return value

    to_url = to_python


class Sha256Converter:
    regex = "[0-9a-f]{64}"

    def to_python(self, value: str) -> str:
        return value

    to_url = to_python


register_converter(TokenConverter, "token")
register_converter(Sha256Converter, "sha256")

urlpatterns = [
    path("<token:token>/", views.job, name="client-job"),
    path("<token:token>/<sha256:sha256>.jpg", views.photo, name="client-photo"),
]
