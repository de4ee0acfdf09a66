"""Which disclosures an account of them lists, under the law by which the record is kept."""

from datetime import date

from clinic.enums import DisclosureAuthority, RecordRegime
from clinic.rules.ages import add_months

A = DisclosureAuthority
# 45 CFR 164.528(a)(1): all but those to the individual, under an authorization, and for treatment, payment and
# operations. 34 CFR 99.32(d): all but those to the parent, to a school official with a legitimate interest, to a party
# with the parent's written consent, and of directory information.
LEFT_OUT = {
    RecordRegime.HEALTH: frozenset({A.FAMILY, A.AUTHORIZATION, A.TREATMENT_PAYMENT_OPERATIONS}),
    RecordRegime.EDUCATION: frozenset({A.FAMILY, A.AUTHORIZATION, A.SCHOOL_OFFICIAL, A.DIRECTORY_INFORMATION}),
}
# 45 CFR 164.528(a)(1): the six years before it is asked for. An education record's goes as far back as it is kept.
MONTHS_BACK = 72


def account_starts(asked_on: date) -> date:
    """The first day of which a health record's account tells."""
    return add_months(asked_on, -MONTHS_BACK)


def held_on(day: date, *, starts_on: date, ends_on: date | None, revoked_on: date | None) -> bool:
    """Whether a consent was in force on the day of a disclosure: begun, not run out, not taken back by then."""
    return starts_on <= day and (ends_on is None or day <= ends_on) and (revoked_on is None or day < revoked_on)
