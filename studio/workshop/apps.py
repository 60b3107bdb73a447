from django.apps import AppConfig


class WorkshopConfig(AppConfig):
    name = "studio.workshop"
    label = "workshop"

    def ready(self) -> None:
        # Without this, a web process that publishes before any worker code is imported would bind its nudges
        # to Celery's default application, which knows no broker.
        import studio.celery  # noqa: F401
