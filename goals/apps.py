from django.apps import AppConfig


class GoalsConfig(AppConfig):
    """The first floor."""

    name = "goals"
