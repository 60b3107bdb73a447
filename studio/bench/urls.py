"""The addresses of the bench. What is logged is a stage, so a stage is what an address names."""

from django.urls import path

from studio.bench.views import kept, stages, stuck

urlpatterns = [
    path("", stages.bench, name="bench"),
    path("all/", stages.everything, name="bench-all"),
    path("<int:stage_id>/", stages.stage, name="bench-stage"),
    path("<int:stage_id>/stuck/", stuck.stuck, name="bench-stuck"),
    path("<int:stage_id>/carry-on/", stuck.carry_on, name="bench-carry-on"),
    path("kept/<uuid:entry_id>/", kept.kept, name="bench-kept"),
    path("kept/<uuid:entry_id>/take-back/", kept.take_back, name="bench-take-back"),
]
