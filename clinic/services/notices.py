"""Tells staff what happened, each person once."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db import transaction

from clinic.enums import NoticeKind
from clinic.models import Notice


@transaction.atomic
def tell(
    *,
    organization_id: UUID,
    recipients: Iterable[UUID],
    kind: NoticeKind,
    subject_kind: str,
    subject_id: UUID,
    now: datetime,
) -> None:
    """Tell each of these staff members that this happened to this row; who was told already is not told again.

    `subject_kind` is the resource of the row, in the singular. A notice carries no name and no clinical word: whoever
    may see the row sees there what it is about.
    """
    Notice.objects.bulk_create(
        [
            Notice(
                organization_id=organization_id,
                recipient_id=recipient,
                kind=kind.value,
                subject_kind=subject_kind,
                subject_id=subject_id,
                at=now,
            )
            for recipient in sorted(set(recipients))
        ],
        ignore_conflicts=True,
    )


@transaction.atomic
def mark_read(*, notice: Notice, now: datetime) -> Notice:
    """Note when she first read it. The caller holds the row's lock."""
    if notice.read_at is None:
        notice.read_at = now
        notice.save(update_fields=["read_at"])
    return notice
