"""Whether a diagnosis code may stand for a day of service."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from clinic.enums import Setting
from clinic.rules.identifiers import has_icd10cm_form

SETTINGS_WITHOUT_DIAGNOSIS = frozenset({Setting.SCHOOL})


class DiagnosisRefusal(StrEnum):
    """Why a code may not stand for a day of service."""

    MALFORMED = "malformed"
    UNKNOWN = "unknown"
    NOT_YET_VALID = "not_yet_valid"
    EXPIRED = "expired"
    NOT_BILLABLE = "not_billable"


@dataclass(frozen=True)
class CodePeriod:
    """Days on which a code stood in the classification; no first day means before the table begins."""

    code: str
    billable: bool
    starts_on: date | None
    ends_on: date | None

    def holds(self, day: date) -> bool:
        return (self.starts_on is None or self.starts_on <= day) and (self.ends_on is None or day <= self.ends_on)


def diagnosis_required(setting: Setting) -> bool:
    """False in a school, whose therapy rests on the school plan and not on a diagnosis."""
    return setting not in SETTINGS_WITHOUT_DIAGNOSIS


def diagnosis_refusal(code: str, *, on: date, periods: Iterable[CodePeriod]) -> DiagnosisRefusal | None:
    """Why the code may not stand for that day of service, or None; the day of service decides, not today."""
    if not has_icd10cm_form(code):
        return DiagnosisRefusal.MALFORMED
    known = [period for period in periods if period.code == code.upper()]
    if not known:
        return DiagnosisRefusal.UNKNOWN

    in_force = [period for period in known if period.holds(on)]
    if not in_force:
        begun = any(period.starts_on is None or period.starts_on <= on for period in known)
        return DiagnosisRefusal.EXPIRED if begun else DiagnosisRefusal.NOT_YET_VALID
    if not any(period.billable for period in in_force):
        return DiagnosisRefusal.NOT_BILLABLE
    return None
