"""Background work of the ground floor: each task calls one service."""

from celery import shared_task

from clinic.services import delivery


@shared_task(name="clinic.deliver_outbox")
def deliver_outbox() -> int:
    return delivery.deliver_outbox()


@shared_task(name="clinic.sweep_expired")
def sweep_expired() -> int:
    return delivery.sweep_expired()
