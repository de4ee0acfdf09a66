"""Which act may follow which status of a goal."""

import pytest

from goals.enums import Lifecycle
from goals.rules.lifecycle import GoalAct, allowed_acts, status_after

PROPOSED, ACCEPTED, ACTIVE, ON_HOLD = Lifecycle.PROPOSED, Lifecycle.ACCEPTED, Lifecycle.ACTIVE, Lifecycle.ON_HOLD
COMPLETED, CANCELLED = Lifecycle.COMPLETED, Lifecycle.CANCELLED


@pytest.mark.parametrize(
    ("status", "follows"),
    [
        pytest.param(PROPOSED, {"accept": ACCEPTED, "cancel": CANCELLED}, id="proposed"),
        pytest.param(ACCEPTED, {"activate": ACTIVE, "cancel": CANCELLED}, id="accepted"),
        pytest.param(ACTIVE, {"hold": ON_HOLD, "complete": COMPLETED, "cancel": CANCELLED}, id="active"),
        pytest.param(ON_HOLD, {"resume": ACTIVE, "complete": COMPLETED, "cancel": CANCELLED}, id="on hold"),
        pytest.param(COMPLETED, {}, id="completed"),
        pytest.param(CANCELLED, {}, id="cancelled"),
    ],
)
def test_what_may_follow_a_status(status, follows):
    """Each status has its acts, with what the goal becomes; every other act is refused; what is over stays over."""
    found = {act.value: after for act in GoalAct if (after := status_after(status, act)) is not None}
    assert found == follows
    assert [act.value for act in allowed_acts(status)] == list(follows)
