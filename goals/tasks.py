"""Background work of the first floor: each task calls one service."""

from typing import Any
from uuid import UUID

from celery import shared_task
from django.utils import timezone

from goals.services import progress


@shared_task(name="goals.recompute_of_document")
def recompute_of_document(document_id: str, **_: Any) -> int:
    return progress.recompute_of_document(UUID(document_id), now=timezone.now())


@shared_task(name="goals.recompute_goal")
def recompute_goal(goal_id: str, **_: Any) -> bool:
    return progress.recompute(UUID(goal_id), now=timezone.now())


@shared_task(name="goals.recompute_begun")
def recompute_begun() -> int:
    return progress.recompute_begun(now=timezone.now())
