"""Whose consent counts for what."""

import pytest

from clinic.enums import AuthorityKind, ConsentKind
from clinic.rules.consents import may_consent

A = AuthorityKind


@pytest.mark.parametrize("kind", ConsentKind)
@pytest.mark.parametrize(
    ("held", "decides"),
    [
        pytest.param(set(), False, id="nothing"),
        pytest.param({A.INFORMATION, A.PICK_UP}, False, id="information and pick-up"),
        pytest.param({A.CONSENT_TO_CARE}, True, id="care"),
        pytest.param({A.EDUCATIONAL_DECISIONS, A.PICK_UP}, True, id="schooling"),
    ],
)
def test_whoever_decides_for_the_child_consents(kind, held, decides):
    """Messages to herself need no authority over the child; all else does."""
    assert may_consent(kind, held) == (decides or kind == ConsentKind.MESSAGES)
