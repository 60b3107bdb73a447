from django.apps import AppConfig


class LetterboxConfig(AppConfig):
    name = "studio.letterbox"
    label = "letterbox"
