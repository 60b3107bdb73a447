"""The addresses of the bench. What is logged is a stage, so a stage is what an address names."""

from django.urls import path

from studio.bench import views

urlpatterns = [
    path("", views.bench, name="bench"),
    path("all/", views.everything, name="bench-all"),
    path("<int:stage_id>/", views.stage, name="bench-stage"),
    path("kept/<uuid:entry_id>/", views.kept, name="bench-kept"),
    path("kept/<uuid:entry_id>/take-back/", views.take_back, name="bench-take-back"),
]
