"""What is done when somebody gives herself a right: it is listed for good, and the others are told."""

from collections.abc import Iterable
from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from clinic.enums import GivenRight, NoticeKind
from clinic.models import Episode, SelfGivenRight
from clinic.rules.access import Actor
from clinic.selectors import self_given_rights as selectors
from clinic.services import notices


@transaction.atomic
def tell_if_self_given(
    *,
    actor: Actor,
    receiver: UUID,
    kind: GivenRight,
    subject_id: UUID,
    now: datetime,
    concerned: Iterable[UUID] = (),
    episode: Episode | None = None,
) -> None:
    """List a right that the actor gave to herself and tell the others; nothing where another received it."""
    if receiver != actor.staff_id:
        return
    given = SelfGivenRight.objects.create(
        organization_id=actor.organization_id,
        staff_id=receiver,
        kind=kind.value,
        subject_id=subject_id,
        episode=episode,
        given_at=now,
    )
    watching = selectors.watchers(actor.organization_id, apart_from=receiver, today=actor.today)
    notices.tell(
        organization_id=actor.organization_id,
        recipients=(watching | set(concerned)) - {receiver},
        kind=NoticeKind.SELF_GIVEN_RIGHT,
        subject_kind="self_given_right",
        subject_id=given.pk,
        now=now,
    )


def gives_more(before: date | None, after: date | None) -> bool:
    """Whether a right lasts longer than it did; no last day is the longest."""
    return before is not None and (after is None or after > before)
