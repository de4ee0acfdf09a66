from importlib import import_module

from django.apps import AppConfig


class ClinicConfig(AppConfig):
    """The ground floor. Loading the background application here makes every process send to its broker."""

    name = "clinic"

    def ready(self) -> None:
        import_module("clinic.celery")
