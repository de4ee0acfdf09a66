"""One invented goal of each kind of measure, and how a visit's numbers for it are written down."""

from dataclasses import dataclass, field
from typing import Any

GOAL = "0198a1f0-0000-7000-8000-0000000000e1"
SCALE = "0198a1f0-0000-7000-8000-0000000000c1"
TWO_IN_A_ROW = {"kind": "in_a_row", "k": 2}
THREE_OF_FOUR = {"kind": "of_last", "k": 3, "m": 4}


@dataclass(frozen=True, kw_only=True)
class SampleGoal:
    """A goal's words, what it counts, when it is met, and one visit's numbers."""

    text: str
    measure: dict[str, Any]
    clauses: list[dict[str, Any]]
    numbers: dict[str, Any]
    consistency: dict[str, Any] = field(default_factory=lambda: THREE_OF_FOUR)
    components: list[dict[str, Any]] = field(default_factory=list)
    direction: str = "increase"
    more: dict[str, Any] = field(default_factory=dict)

    def body(self, episode: str) -> dict[str, Any]:
        """The goal as it is proposed."""
        return {
            "episode": episode,
            "text": self.text,
            "purpose": "reduce" if self.direction == "decrease" else "improve",
            "direction": self.direction,
            "measure": self.measure,
            "components": self.components,
            "intervention_starts_on": "2026-03-03",
            "criterion": {"clauses": self.clauses, "consistency": self.consistency, **self.more},
        }

    def measurement(self, goal: str = GOAL) -> dict[str, Any]:
        """One visit's numbers as a note carries them."""
        return {"goal": goal, **self.numbers}


def clause(component: str, comparison: str, value: str, **more: Any) -> dict[str, Any]:
    return {"component": component, "comparison": comparison, "value": value, **more}


SAMPLES = {
    "accuracy: so many of so many": SampleGoal(
        text="Copies a sentence, letters legible, in two settings",
        measure={"kind": "accuracy", "trial_name": "letters", "independent_trials": False},
        clauses=[clause("accuracy", "at_least", "0.85")],
        consistency={"kind": "in_a_row", "k": 3},
        more={"minimum_data": {"trials": 20}, "generalization": {"settings": 2}},
        numbers={"successes": 21, "opportunities": 24, "setting": "classroom"},
    ),
    "accuracy with duration and prompts": SampleGoal(
        text="Fastens four vest buttons within two minutes with at most one spoken cue",
        measure={"kind": "accuracy", "trial_name": "buttons"},
        components=[{"kind": "duration", "unit": "s"}, {"kind": "prompts"}],
        clauses=[
            clause("accuracy", "at_least", "1", primary=True),
            clause("duration", "at_most", "120"),
            clause("prompts", "at_most", "1", most_prompting="spoken"),
        ],
        numbers={
            "successes": 4,
            "opportunities": 4,
            "components": {"duration": {"value": "115"}, "prompts": {"tally": {"spoken": 1}}},
        },
    ),
    "accuracy by side, trial by trial": SampleGoal(
        text="Picks up coins with either hand without help",
        measure={"kind": "accuracy", "strata": "side", "trial_name": "coins"},
        clauses=[clause("accuracy", "at_least", "0.8", side_rule="each", most_assistance="supervision")],
        numbers={
            "trials": [
                {"side": "left", "success": True, "assistance": "independent"},
                {"side": "right", "success": False, "assistance": "minimal", "prompt": "gesture"},
            ]
        },
    ),
    "accuracy from a caregiver's diary": SampleGoal(
        text="Has her hair washed without distress on five of seven days",
        measure={"kind": "accuracy", "trial_name": "days"},
        clauses=[clause("accuracy", "at_least", "5/7")],
        consistency=TWO_IN_A_ROW,
        more={"minimum_data": {"days": 5}},
        numbers={"successes": 5, "opportunities": 7, "source": "caregiver", "observer": "mother"},
    ),
    "steps, each with the help it took": SampleGoal(
        text="Puts on a pullover shirt, five of six steps at supervision or better",
        measure={
            "kind": "steps",
            "names": ["picks it up", "head", "right arm", "left arm", "pulls down", "straightens"],
            "alone_at": "supervision",
        },
        clauses=[clause("steps", "at_least", "5", most_assistance="minimal")],
        numbers={
            "trials": [
                {"step": "picks it up", "assistance": "independent"},
                {"step": "head", "assistance": "supervision"},
                {"step": "right arm", "assistance": "minimal"},
                {"step": "left arm", "assistance": "moderate"},
                {"step": "pulls down", "assistance": "supervision"},
                {"step": "straightens", "assistance": "supervision"},
            ]
        },
    ),
    "ordered: level of assistance": SampleGoal(
        text="Brushes her teeth at supervision or better",
        measure={"kind": "ordered", "scale": "assistance"},
        clauses=[clause("ordered", "at_least", "supervision")],
        consistency={"kind": "of_last", "k": 4, "m": 5},
        numbers={"value": "minimal"},
    ),
    "ordered: a scale of the organization, several exemplars": SampleGoal(
        text="Licks, or does more with, two of three new foods",
        measure={"kind": "ordered", "scale": SCALE, "strata": "exemplar", "names": ["banana", "rice", "carrot"]},
        clauses=[clause("ordered", "at_least", "licks", share="2/3")],
        numbers={
            "trials": [
                {"exemplar": "banana", "value": "licks"},
                {"exemplar": "rice", "value": "touches"},
                {"exemplar": "carrot", "value": "in sight"},
            ]
        },
    ),
    "quantity: things counted": SampleGoal(
        text="Takes four turns in a board game with a peer",
        measure={"kind": "quantity", "unit": "{turns}"},
        clauses=[clause("quantity", "at_least", "4")],
        numbers={"value": 3, "partner": "a peer"},
    ),
    "quantity: a length": SampleGoal(
        text="Cuts out a circle, at most 6 mm from the line",
        measure={"kind": "quantity", "unit": "mm"},
        clauses=[clause("quantity", "at_most", "6")],
        consistency={"kind": "of_last", "k": 2, "m": 3},
        direction="decrease",
        numbers={"value": "7.5"},
    ),
    "duration that the plan ended": SampleGoal(
        text="Stays in shared floor play for ten minutes",
        measure={"kind": "duration", "unit": "s"},
        clauses=[clause("duration", "at_least", "600")],
        consistency=TWO_IN_A_ROW,
        numbers={"value": "600", "censored": "at_least"},
    ),
    "latency": SampleGoal(
        text="Begins to write within ten seconds of being asked",
        measure={"kind": "latency", "unit": "s", "visit_value": "median"},
        clauses=[clause("latency", "at_most", "10")],
        direction="decrease",
        numbers={"trials": [{"value": "12"}, {"value": "8.5"}, {"value": "30", "censored": "at_least"}]},
    ),
    "prompts": SampleGoal(
        text="Packs his school bag with at most two cues",
        measure={"kind": "prompts"},
        clauses=[clause("prompts", "at_most", "2", most_prompting="gesture")],
        direction="decrease",
        numbers={"tally": {"gesture": 2, "spoken": 1}},
    ),
    "rate": SampleGoal(
        text="Leaves the seat at most twice in 30 minutes",
        measure={"kind": "rate", "per_minutes": "30"},
        clauses=[clause("rate", "at_most", "2")],
        direction="decrease",
        more={"minimum_data": {"minutes": "15"}},
        numbers={"value": 3, "watched": "15"},
    ),
    "interval": SampleGoal(
        text="Is on task at carpet time in 80 % of intervals",
        measure={"kind": "interval", "interval_method": "momentary"},
        clauses=[clause("interval", "at_least", "0.8")],
        consistency={"kind": "of_last", "k": 4, "m": 5},
        more={"minimum_data": {"intervals": 20}},
        numbers={"successes": 24, "opportunities": 30, "source": "teacher"},
    ),
    "rating: five described levels": SampleGoal(
        text="Takes part in a birthday party as expected or better",
        measure={
            "kind": "rating",
            "levels": ["stays outside", "watches", "joins one game", "joins most games", "starts a game"],
        },
        clauses=[clause("rating", "at_least", "0")],
        consistency={"kind": "of_last", "k": 2, "m": 3},
        numbers={"value": -1},
    ),
    "score with its standard error": SampleGoal(
        text="Reaches a scaled score of 6 in balance",
        measure={"kind": "score", "standard_error": "1.0"},
        clauses=[clause("score", "at_least", "6")],
        consistency={"kind": "in_a_row", "k": 1},
        numbers={"value": 6},
    ),
    "nothing measured, and why": SampleGoal(
        text="Ties his shoes alone in four of five trials",
        measure={"kind": "accuracy"},
        clauses=[clause("accuracy", "at_least", "0.8")],
        numbers={"not_measured": "no_time"},
    ),
}
