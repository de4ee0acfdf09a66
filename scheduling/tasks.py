"""Background work of the top floor: each task calls one service."""

from typing import Any
from uuid import UUID

from celery import shared_task
from django.utils import timezone

from scheduling.services import clocks, later_checks


@shared_task(name="scheduling.check_document")
def check_document(document_id: str, **_: Any) -> int:
    return later_checks.check_document(UUID(document_id), now=timezone.now())


@shared_task(name="scheduling.follow_clocks")
def follow_clocks(episode_id: str, **_: Any) -> int:
    return clocks.follow([UUID(episode_id)], now=timezone.now())


@shared_task(name="scheduling.follow_clocks_of_document")
def follow_clocks_of_document(document_id: str, **_: Any) -> int:
    return clocks.follow_document(UUID(document_id), now=timezone.now())


@shared_task(name="scheduling.follow_clocks_of_visit")
def follow_clocks_of_visit(visit_id: str, **_: Any) -> int:
    return clocks.follow_visit(UUID(visit_id), now=timezone.now())


@shared_task(name="scheduling.follow_clocks_of_school")
def follow_clocks_of_school(site_id: str, **_: Any) -> int:
    return clocks.follow_school(UUID(site_id), now=timezone.now())


@shared_task(name="scheduling.follow_all_clocks")
def follow_all_clocks() -> int:
    return clocks.follow_all(now=timezone.now())
