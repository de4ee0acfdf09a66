"""Background work of the ground floor: each task calls one service."""

from typing import Any

from celery import shared_task
from django.utils import timezone

from clinic.services import delivery, documents, emergencies, seals


@shared_task(name="clinic.deliver_outbox")
def deliver_outbox() -> int:
    return delivery.deliver_outbox()


@shared_task(name="clinic.sweep_expired")
def sweep_expired() -> int:
    return delivery.sweep_expired()


@shared_task(name="clinic.reassign_cosignatures")
def reassign_cosignatures(**_: Any) -> int:
    return documents.reassign_everywhere(now=timezone.now())


@shared_task(name="clinic.ask_for_emergency_reasons")
def ask_for_emergency_reasons() -> int:
    return emergencies.ask_for_explanations(now=timezone.now())


@shared_task(name="clinic.seal_rows")
def seal_rows() -> int:
    return seals.seal_rows(now=timezone.now())
