"""Flags that are found after the signing: written once, under the document's lock, and told as a change of it."""

from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from clinic import outbox
from clinic.models import Document, DocumentFlag
from clinic.rules.flags import Flag
from clinic.services.documents import flag_row


@transaction.atomic
def raise_flags(*, document: Document, found: Collection[Flag], now: datetime) -> int:
    """Flag the current version with what it is not flagged with yet; the caller holds the lock. How many are new.

    A co-signer who opened it before is asked to open it again.
    """
    version = document.current_version
    if version is None:
        return 0
    known = set(DocumentFlag.objects.filter(version=version).values_list("check_name", "subject"))
    new = [flag for flag in found if (flag.check, flag.subject) not in known]
    if not new:
        return 0
    DocumentFlag.objects.bulk_create(flag_row(version, flag, raised_at=now) for flag in new)
    document.version += 1
    document.save(update_fields=["version"])
    outbox.changed("document", document, client_id=document.client_id, episode_id=document.episode_id)
    return len(new)
