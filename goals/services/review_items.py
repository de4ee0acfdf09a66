"""What a therapist does with what the numbers ask her to look at."""

from datetime import datetime

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict
from clinic.rules.access import Actor
from goals.models import ReviewItem


class ReviewItemSettled(Conflict):
    code = "review_item_settled"
    title = "This item is no longer open"


@transaction.atomic
def acknowledge(*, actor: Actor, item: ReviewItem, now: datetime) -> ReviewItem:
    """Say that it was looked at; the goal itself is left to the therapist's own acts. The caller holds the lock."""
    if item.withdrawn_at is not None or item.acknowledged_at is not None:
        raise ReviewItemSettled(withdrawn=item.withdrawn_at is not None)
    item.acknowledged_at, item.acknowledged_by_id = now, actor.staff_id
    item.save(update_fields=["acknowledged_at", "acknowledged_by"])
    outbox.changed("review_item", item, client_id=item.goal.client_id, episode_id=item.episode_id)
    return item
