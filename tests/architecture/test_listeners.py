"""What is told and who hears it meet by name alone: here the names are held against each other."""

import ast

from celery import current_app
from django.conf import settings

from tests.architecture.test_floors import SOURCES


def written_in_services() -> set[str]:
    """Every text that stands in a service; a topic is one of them."""
    services = [path for path in SOURCES if "services" in path.parts]
    nodes = (node for path in services for node in ast.walk(ast.parse(path.read_text())))
    return {node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str)}


def tasks() -> set[str]:
    current_app.loader.import_default_modules()
    return set(current_app.tasks)


def test_nobody_waits_for_what_is_never_told():
    """A topic misspelt would be heard by nobody, and nothing would say so."""
    assert set(settings.OUTBOX_LISTENERS) - written_in_services() == set()


def test_every_listener_is_a_task():
    """A listener misspelt would be tried until it is given up."""
    heard = {name for names in settings.OUTBOX_LISTENERS.values() for name in names}
    assert heard - tasks() == set()


def test_every_scheduled_name_is_a_task():
    """So is what beat sends."""
    assert {entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()} - tasks() == set()
