"""What tests of doors ask again and again."""

from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from clinic.models import ChangeFeed, OutboxMessage


def cost_of(api: APIClient, url: str) -> tuple[int, int]:
    """How many rows a list shows, and how many queries that took."""
    with CaptureQueriesContext(connection) as queries:
        answer = api.get(url)
    assert answer.status_code == 200, answer.content
    return len(answer.json()["results"]), len(queries)


def faults(answer: Any) -> list[tuple[str, str]]:
    """The pointers and codes of a refusal."""
    return [(error["pointer"], error["code"]) for error in answer.json()["errors"]]


def ids(answer: Any) -> list[str]:
    return [row["id"] for row in answer.json()["results"]]


def recorded() -> tuple[int, int]:
    """How much has been said to listeners and to the feed."""
    return OutboxMessage.objects.count(), ChangeFeed.objects.count()
