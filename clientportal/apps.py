from django.apps import AppConfig


class ClientPortalConfig(AppConfig):
    name = "clientportal"
