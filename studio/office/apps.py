from django.apps import AppConfig


class OfficeConfig(AppConfig):
    name = "studio.office"
    label = "office"
