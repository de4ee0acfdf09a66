"""Who may sign, co-sign and return, in each state."""

from uuid import UUID

import pytest

from clinic.enums import DocumentState
from clinic.rules.signatures import (
    SignRefusal,
    VerdictRefusal,
    cosign_refusal,
    return_refusal,
    sign_refusal,
)

AUTHOR, SUPERVISOR, COLLEAGUE = (UUID(int=number) for number in range(1, 4))


@pytest.mark.parametrize(
    ("state", "signer", "refusal"),
    [
        pytest.param(DocumentState.DRAFT, AUTHOR, None, id="draft"),
        pytest.param(DocumentState.RETURNED, AUTHOR, None, id="returned"),
        pytest.param(DocumentState.SIGNED, AUTHOR, SignRefusal.ALREADY_SIGNED, id="signed"),
        pytest.param(DocumentState.COSIGNED, AUTHOR, SignRefusal.ALREADY_SIGNED, id="cosigned"),
        pytest.param(DocumentState.ENTERED_IN_ERROR, AUTHOR, SignRefusal.ENTERED_IN_ERROR, id="in-error"),
        pytest.param(DocumentState.DRAFT, SUPERVISOR, SignRefusal.NOT_AUTHOR, id="supervisor"),
        pytest.param(DocumentState.RETURNED, COLLEAGUE, SignRefusal.NOT_AUTHOR, id="colleague"),
    ],
)
def test_sign_refusal(state, signer, refusal):
    """A document is signed by its author, while it is a draft or was returned."""
    assert sign_refusal(state=state, author_id=AUTHOR, signer_id=signer) == refusal


def asked(**overrides):
    """A supervisor of the service date who read the current version of a signed note."""
    return {
        "state": DocumentState.SIGNED,
        "author_id": AUTHOR,
        "signer_id": SUPERVISOR,
        "eligible_ids": {SUPERVISOR},
        "fetched_digest": "v2",
        "current_digest": "v2",
    } | overrides


VERDICTS = [
    pytest.param({}, None, id="supervisor-of-the-day"),
    pytest.param({"state": DocumentState.DRAFT}, VerdictRefusal.NOT_SIGNED, id="draft"),
    pytest.param({"state": DocumentState.RETURNED}, VerdictRefusal.NOT_SIGNED, id="returned"),
    pytest.param({"state": DocumentState.ENTERED_IN_ERROR}, VerdictRefusal.NOT_SIGNED, id="in-error"),
    pytest.param({"state": DocumentState.COSIGNED}, VerdictRefusal.ALREADY_COSIGNED, id="cosigned"),
    pytest.param({"signer_id": AUTHOR}, VerdictRefusal.OWN_DOCUMENT, id="own"),
    pytest.param(
        {"signer_id": AUTHOR, "eligible_ids": {AUTHOR}}, VerdictRefusal.OWN_DOCUMENT, id="own-though-eligible"
    ),
    pytest.param({"signer_id": COLLEAGUE}, VerdictRefusal.NOT_SUPERVISOR, id="colleague"),
    pytest.param({"eligible_ids": set()}, VerdictRefusal.NOT_SUPERVISOR, id="nobody-supervised"),
    pytest.param({"fetched_digest": "v1"}, VerdictRefusal.VERSION_CHANGED, id="read-an-older-version"),
    pytest.param({"fetched_digest": ""}, VerdictRefusal.VERSION_CHANGED, id="read-nothing"),
]


@pytest.mark.parametrize(("overrides", "refusal"), VERDICTS)
def test_cosign_refusal(overrides, refusal):
    """A signed note is co-signed by a supervisor of its service date who read the current version."""
    assert cosign_refusal(**asked(**overrides)) == refusal


@pytest.mark.parametrize(("overrides", "refusal"), VERDICTS)
def test_return_refusal(overrides, refusal):
    """Whoever may co-sign may return, with a reason."""
    assert return_refusal(**asked(**overrides), reason="Say which cues were used.") == refusal


@pytest.mark.parametrize("reason", ["", " ", "\n\t"])
def test_a_return_needs_a_reason(reason):
    """A note is not returned without saying why; who may not return it is told that first."""
    assert return_refusal(**asked(), reason=reason) == VerdictRefusal.REASON_MISSING
    assert return_refusal(**asked(signer_id=COLLEAGUE), reason=reason) == VerdictRefusal.NOT_SUPERVISOR


def test_the_refusal_of_another_days_supervisor_has_its_public_code():
    """Clients see this code when a supervisor of other days tries."""
    assert VerdictRefusal.NOT_SUPERVISOR == "not_supervisor_on_visit_day"
