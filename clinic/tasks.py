"""Background work of the ground floor: each task calls one service."""

from datetime import datetime
from typing import Any
from uuid import UUID

from celery import shared_task
from django.utils import timezone

from clinic.services import delivery, documents, emergencies, letters, pin_resets, seals


@shared_task(name="clinic.deliver_outbox")
def deliver_outbox() -> int:
    return delivery.deliver_outbox()


@shared_task(name="clinic.sweep_expired")
def sweep_expired() -> int:
    return delivery.sweep_expired()


@shared_task(name="clinic.send_pin_code")
def send_pin_code(reset_id: str, **_: Any) -> bool:
    return letters.send_code(reset_id=UUID(reset_id), now=timezone.now())


@shared_task(name="clinic.tell_pin_changed")
def tell_pin_changed(staff_id: str, at: str, **_: Any) -> bool:
    return letters.tell_changed(staff_id=UUID(staff_id), at=datetime.fromisoformat(at))


@shared_task(name="clinic.mail_signatures_since_reset")
def mail_signatures_since_reset(reset_id: str, **_: Any) -> bool:
    return letters.list_signatures(reset_id=UUID(reset_id))


@shared_task(name="clinic.list_signatures_since_reset")
def list_signatures_since_reset() -> int:
    return pin_resets.list_signatures(now=timezone.now())


@shared_task(name="clinic.reassign_cosignatures")
def reassign_cosignatures(**_: Any) -> int:
    return documents.reassign_everywhere(now=timezone.now())


@shared_task(name="clinic.ask_for_emergency_reasons")
def ask_for_emergency_reasons() -> int:
    return emergencies.ask_for_explanations(now=timezone.now())


@shared_task(name="clinic.seal_rows")
def seal_rows() -> int:
    return seals.seal_rows(now=timezone.now())
