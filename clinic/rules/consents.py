"""Whose consent counts for what."""

from collections.abc import Iterable

from clinic.enums import AuthorityKind, ConsentKind

# Messages go to the contact herself: she may say so for herself.
NEED_NO_AUTHORITY = frozenset({ConsentKind.MESSAGES})
DECIDING = frozenset({AuthorityKind.CONSENT_TO_CARE, AuthorityKind.EDUCATIONAL_DECISIONS})


def may_consent(kind: ConsentKind, held: Iterable[AuthorityKind]) -> bool:
    """Whether somebody with these authorities over the child on that day may give this consent."""
    return kind in NEED_NO_AUTHORITY or not DECIDING.isdisjoint(held)
