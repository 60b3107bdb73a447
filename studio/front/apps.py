from django.apps import AppConfig


class FrontConfig(AppConfig):
    name = "studio.front"
    label = "front"
