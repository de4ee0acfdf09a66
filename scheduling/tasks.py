"""Background work of the top floor: each task calls one service."""

from typing import Any
from uuid import UUID

from celery import shared_task
from django.utils import timezone

from scheduling.services import later_checks


@shared_task(name="scheduling.check_document")
def check_document(document_id: str, **_: Any) -> int:
    return later_checks.check_document(UUID(document_id), now=timezone.now())
