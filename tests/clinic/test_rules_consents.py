"""Whose consent counts for what."""

import pytest

from clinic.enums import AuthorityKind, ConsentKind, RecordRegime
from clinic.rules.consents import may_consent

A = AuthorityKind


@pytest.mark.parametrize("kind", ConsentKind)
@pytest.mark.parametrize(
    ("held", "child", "health", "education"),
    [
        pytest.param(set(), False, False, False, id="nothing"),
        pytest.param({A.INFORMATION, A.PICK_UP, A.EMERGENCY_CONTACT}, False, False, False, id="no legal authority"),
        pytest.param({A.CONSENT_TO_CARE}, True, True, False, id="care"),
        pytest.param({A.EDUCATIONAL_DECISIONS, A.PICK_UP}, True, False, True, id="schooling"),
        pytest.param({A.CONSENT_TO_CARE, A.EDUCATIONAL_DECISIONS}, True, True, True, id="both"),
    ],
)
def test_whoever_decides_for_the_child_consents(kind, held, child, health, education):
    """For an episode it takes the authority over that record; messages to herself need none over the child."""
    own = kind == ConsentKind.MESSAGES
    assert may_consent(kind, held) == (child or own)
    assert may_consent(kind, held, regime=RecordRegime.HEALTH) == (health or own)
    assert may_consent(kind, held, regime=RecordRegime.EDUCATION) == (education or own)
