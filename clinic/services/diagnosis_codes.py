"""The table of diagnosis codes, brought to a release of the classification."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import NamedTuple

from django.db import transaction

from clinic.models import DiagnosisCode
from clinic.rules.diagnosis_release import ReleasedCode

# From this day US claims carry ICD-10-CM (45 CFR 162.1002(c)). The first release loaded stands for all that had held
# since then; what earlier releases said otherwise is not known here.
IN_USE_SINCE = date(2015, 10, 1)
BATCH = 5000


class Loaded(NamedTuple):
    """How many codes a release brought, changed and ended."""

    added: int
    changed: int
    ended: int


@transaction.atomic
def load_release(codes: Iterable[ReleasedCode], *, starts_on: date) -> Loaded:
    """Bring the table to a release that starts on a day; loaded again, it changes nothing."""
    standing = {row.code: row for row in DiagnosisCode.objects.select_for_update().filter(valid_until=None)}
    holds_from = starts_on if standing else IN_USE_SINCE
    added: list[DiagnosisCode] = []
    changed: list[DiagnosisCode] = []
    ended: list[DiagnosisCode] = []
    for released in codes:
        row = standing.pop(released.code, None)
        if row is None:
            added.append(_row(released, holds_from))
        elif row.billable != released.billable and row.valid_from < starts_on:
            ended.append(row)
            added.append(_row(released, starts_on))
        elif (row.title, row.billable) != (released.title, released.billable):
            row.title, row.billable = released.title, released.billable
            changed.append(row)
    ended += standing.values()
    _write(added, changed, ended, last_day=starts_on - timedelta(days=1))
    return Loaded(len(added), len(changed), len(ended))


def _row(released: ReleasedCode, valid_from: date) -> DiagnosisCode:
    return DiagnosisCode(code=released.code, title=released.title, billable=released.billable, valid_from=valid_from)


def _write(
    added: list[DiagnosisCode], changed: list[DiagnosisCode], ended: list[DiagnosisCode], *, last_day: date
) -> None:
    for row in ended:
        row.valid_until = last_day
    DiagnosisCode.objects.bulk_update(ended, ["valid_until"], batch_size=BATCH)
    DiagnosisCode.objects.bulk_update(changed, ["title", "billable"], batch_size=BATCH)
    DiagnosisCode.objects.bulk_create(added, batch_size=BATCH)
