"""Whose consent counts for what."""

from collections.abc import Iterable

from clinic.enums import AuthorityKind, ConsentKind, RecordRegime
from clinic.rules.authorities import DECIDING

# Messages go to the contact herself: she may say so for herself.
NEED_NO_AUTHORITY = frozenset({ConsentKind.MESSAGES})
# A personal representative decides on care (45 CFR 164.502(g)), a parent on schooling (34 CFR 300.9, 300.30).
WANTED = {
    RecordRegime.HEALTH: frozenset({AuthorityKind.CONSENT_TO_CARE}),
    RecordRegime.EDUCATION: frozenset({AuthorityKind.EDUCATIONAL_DECISIONS}),
}


def may_consent(kind: ConsentKind, held: Iterable[AuthorityKind], *, regime: RecordRegime | None = None) -> bool:
    """Whether somebody with these authorities over the child on that day may give this consent, or take it back.

    One for an episode asks for the authority over that episode's record; one for the child, for either.
    """
    wanted = DECIDING if regime is None else WANTED[regime]
    return kind in NEED_NO_AUTHORITY or not wanted.isdisjoint(held)
