from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    """The top floor."""

    name = "scheduling"
