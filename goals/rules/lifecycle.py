"""Which act may follow which status of a goal (HL7 FHIR goal-status)."""

from enum import StrEnum

from goals.enums import Lifecycle


class GoalAct(StrEnum):
    """What a therapist does to a goal as a whole."""

    ACCEPT = "accept"
    ACTIVATE = "activate"
    HOLD = "hold"
    RESUME = "resume"
    COMPLETE = "complete"
    CANCEL = "cancel"


TRANSITIONS: dict[GoalAct, tuple[frozenset[Lifecycle], Lifecycle]] = {
    GoalAct.ACCEPT: (frozenset({Lifecycle.PROPOSED}), Lifecycle.ACCEPTED),
    GoalAct.ACTIVATE: (frozenset({Lifecycle.ACCEPTED}), Lifecycle.ACTIVE),
    GoalAct.HOLD: (frozenset({Lifecycle.ACTIVE}), Lifecycle.ON_HOLD),
    GoalAct.RESUME: (frozenset({Lifecycle.ON_HOLD}), Lifecycle.ACTIVE),
    GoalAct.COMPLETE: (frozenset({Lifecycle.ACTIVE, Lifecycle.ON_HOLD}), Lifecycle.COMPLETED),
    GoalAct.CANCEL: (
        frozenset({Lifecycle.PROPOSED, Lifecycle.ACCEPTED, Lifecycle.ACTIVE, Lifecycle.ON_HOLD}),
        Lifecycle.CANCELLED,
    ),
}
OVER = frozenset({Lifecycle.COMPLETED, Lifecycle.CANCELLED})


def status_after(status: Lifecycle, act: GoalAct) -> Lifecycle | None:
    """What a goal of this status becomes by this act, or None where the act may not follow."""
    before, after = TRANSITIONS[act]
    return after if status in before else None


def allowed_acts(status: Lifecycle) -> list[GoalAct]:
    """The acts that may follow this status."""
    return [act for act in GoalAct if status_after(status, act) is not None]
