"""The worked goals, computed by hand beforehand: five weekly visits in March 2026 after a baseline in February."""

from typing import Any

from tests.goals.cases import Case, make_criterion, make_goal

SHIRT = ["head in", "right arm", "left arm", "head out", "pull down", "straighten"]
FOOD_LEVELS = ["not in sight", "in sight", "near", "touches", "licks", "bites", "chews and swallows"]


def of_last(k: int, m: int) -> dict[str, Any]:
    """k of the last m visits."""
    return {"kind": "of_last", "k": k, "m": m}


def in_a_row(k: int) -> dict[str, Any]:
    """k visits in a row."""
    return {"kind": "in_a_row", "k": k}


def counts(successes: int, opportunities: int, **rest: Any) -> dict[str, Any]:
    """A plain count."""
    return {"successes": successes, "opportunities": opportunities, **rest}


def buttons() -> Case:
    """1. Fastens four vest buttons within two minutes with at most one spoken cue."""
    goal = make_goal({"kind": "accuracy"}, components=[{"kind": "duration"}, {"kind": "prompts"}])

    def sheet(done: int, seconds: int, cues: int) -> dict[str, Any]:
        further = {"duration": {"value": str(seconds)}, "prompts": {"value": str(cues)}}
        return counts(done, 4, components=further)

    visits = [(2, 170, 3), (3, 150, 2), (4, 140, 1), (4, 115, 1), (4, 110, 0)]
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal,
            {"component": "accuracy", "comparison": "at_least", "value": "1", "primary": True},
            {"component": "duration", "comparison": "at_most", "value": "120"},
            {"component": "prompts", "comparison": "at_most", "value": "1", "most_prompting": "spoken"},
            consistency=of_last(3, 4),
        ),
        baseline=[sheet(1, 180, 4)],
        visits=[sheet(*visit) for visit in visits],
    )


def letters() -> Case:
    """2. Copies a sentence with legible letters."""
    goal = make_goal({"kind": "accuracy", "trial_name": "letters", "independent_trials": False})
    visits = [(15, 24, "clinic"), (18, 25, "clinic"), (21, 24, "clinic"), (22, 25, "classroom"), (20, 23, "clinic")]
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal,
            {"component": "accuracy", "comparison": "at_least", "value": "0.85"},
            consistency=in_a_row(3),
            minimum_data={"trials": 20},
            generalization={"settings": 2},
        ),
        baseline=[counts(11, 24), counts(10, 25), counts(12, 24)],
        visits=[counts(done, offered, setting=setting) for done, offered, setting in visits],
    )


def circle() -> Case:
    """3. Cuts out a circle; the largest distance from the line."""
    goal = make_goal({"kind": "quantity", "unit": "mm"}, purpose="reduce", direction="decrease")
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal, {"component": "quantity", "comparison": "at_most", "value": "6"}, consistency=of_last(2, 3)
        ),
        baseline=[{"value": "18"}],
        visits=[{"value": distance} for distance in ("15", "14", "11", "8", "6")],
    )


def shirt() -> Case:
    """4. Puts on a pullover shirt in six steps, backward chaining."""
    goal = make_goal({"kind": "steps", "names": SHIRT})

    def sheet(alone: int, lowest: str) -> dict[str, Any]:
        helped = ["supervision"] * alone + [lowest] + ["minimal"] * (5 - alone)
        return {"trials": [{"step": step, "assistance": help_} for step, help_ in zip(SHIRT, helped, strict=True)]}

    visits = [(2, "maximal"), (3, "moderate"), (4, "moderate"), (5, "minimal"), (5, "minimal")]
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal,
            {"component": "steps", "comparison": "at_least", "value": "5", "most_assistance": "minimal"},
            consistency=of_last(3, 4),
        ),
        baseline=[sheet(1, "maximal")],
        visits=[sheet(*visit) for visit in visits],
    )


def teeth() -> Case:
    """5. Brushes teeth; the level of assistance."""
    goal = make_goal({"kind": "ordered", "scale": "assistance"})
    levels = ["moderate", "minimal", "minimal", "supervision", "supervision"]
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal,
            {"component": "ordered", "comparison": "at_least", "value": "supervision"},
            consistency=of_last(4, 5),
        ),
        baseline=[{"value": "moderate"}],
        visits=[{"value": level} for level in levels],
    )


def foods() -> Case:
    """6. Accepts new foods: seven levels, three foods."""
    goal = make_goal({"kind": "ordered", "scale": FOOD_LEVELS, "strata": "exemplar", "names": ["pear", "rice", "egg"]})

    def sheet(*levels: int) -> dict[str, Any]:
        tried = zip(("pear", "rice", "egg"), levels, strict=True)
        return {"trials": [{"exemplar": food, "value": FOOD_LEVELS[level]} for food, level in tried]}

    return Case(
        goal=goal,
        criterion=make_criterion(
            goal,
            {"component": "ordered", "comparison": "at_least", "value": "licks", "share": "2"},
            consistency=of_last(3, 4),
        ),
        baseline=[sheet(0, 0, 0)],
        visits=[sheet(1, 1, 0), sheet(2, 1, 1), sheet(4, 2, 1), sheet(4, 4, 2), sheet(5, 4, 2)],
    )


def turns() -> Case:
    """8. Takes turns in a board game with a peer."""
    goal = make_goal({"kind": "quantity", "unit": "{turns}"})
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal, {"component": "quantity", "comparison": "at_least", "value": "4"}, consistency=of_last(3, 4)
        ),
        baseline=[{"value": 1}],
        visits=[{"value": turns} for turns in (1, 2, 3, 4, 4)],
    )


def floor_play() -> Case:
    """9. Stays in shared floor play; ended by plan at ten minutes."""
    goal = make_goal({"kind": "duration"})
    seconds = ["180", "240", "420"]
    stopped = {"value": "600", "censored": "at_least"}
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal, {"component": "duration", "comparison": "at_least", "value": "600"}, consistency=in_a_row(2)
        ),
        baseline=[{"value": "150"}],
        visits=[*({"value": value} for value in seconds), stopped, stopped],
    )


def hair_washing() -> Case:
    """11. Hair washing without distress, from a parent's diary by the week."""
    goal = make_goal({"kind": "accuracy", "trial_name": "days"})
    weeks = [(1, 7), (2, 7), (3, 6), (5, 7), (5, 7)]
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal,
            {"component": "accuracy", "comparison": "at_least", "value": "5/7"},
            consistency=in_a_row(2),
            minimum_data={"days": 5},
        ),
        baseline=[counts(1, 7, source="caregiver")],
        visits=[counts(calm, days, source="caregiver") for calm, days in weeks],
    )


def balance() -> Case:
    """13. A balance test's scaled score at re-evaluation."""
    goal = make_goal({"kind": "score", "sem": "1.0"})
    return Case(
        goal=goal,
        criterion=make_criterion(goal, {"component": "score", "comparison": "at_least", "value": "6"}),
        baseline=[{"value": "4"}],
        visits=[None, None, None, None, {"value": "6"}],
    )


def carpet_time() -> Case:
    """14. On task at carpet time, momentary, every 30 seconds."""
    goal = make_goal({"kind": "interval", "interval_method": "momentary"})
    visits = [(16, 30), (20, 30), (24, 30), (25, 30), (18, 20)]
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal,
            {"component": "interval", "comparison": "at_least", "value": "0.8"},
            consistency=of_last(4, 5),
            minimum_data={"intervals": 20},
        ),
        baseline=[counts(on_task, 30) for on_task in (12, 13, 11)],
        visits=[counts(*visit) for visit in visits],
    )


def seat() -> Case:
    """17. Leaves the seat."""
    goal = make_goal({"kind": "rate", "per_minutes": "30"}, purpose="reduce", direction="decrease")
    visits = [(8, 20), (6, 30), (3, 15), (2, 30), (1, 20)]
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal,
            {"component": "rate", "comparison": "at_most", "value": "2"},
            consistency=of_last(3, 4),
            minimum_data={"minutes": "15"},
        ),
        baseline=[{"value": "12", "watched": "30"}],
        visits=[{"value": str(times), "watched": str(minutes)} for times, minutes in visits],
    )


def party() -> Case:
    """18. A birthday party, five described levels."""
    goal = make_goal({"kind": "rating"})
    return Case(
        goal=goal,
        criterion=make_criterion(
            goal, {"component": "rating", "comparison": "at_least", "value": "0"}, consistency=of_last(2, 3)
        ),
        baseline=[{"value": -2}],
        visits=[{"value": rating} for rating in (-2, -1, -1, 0, 0)],
    )
