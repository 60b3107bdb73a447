"""The only addresses at which somebody who is not signed in may write: each opens by a keyed token of its own."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
