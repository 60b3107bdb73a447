"""The addresses of a client, the token first in each. A token of any shape goes through its door and does the same work."""

from django.urls import path, re_path

from clientportal import views

urlpatterns = [
    path("<str:token>/", views.job, name="client-job"),
    path("<str:token>/<str:sha256>.jpg", views.photo, name="client-photo"),
    # Whatever else; an address that merely lacks its last slash gets it before.
    re_path(r"^(?P<token>[^/]*)/(?P<rest>.*)$", views.nowhere, name="client-nowhere"),
]
