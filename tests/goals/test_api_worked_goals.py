"""Worked goals, entered and measured over five weekly visits: the criterion comes out as computed by hand.

The expected figures were computed by hand (and recomputed by script) before the service was written.
"""

from decimal import Decimal
from typing import Any

import pytest

from tests import factories as make
from tests.goals.team import (
    BASELINE_DAY,
    VISIT_DAYS,
    clause,
    criterion,
    goal_body,
    in_a_row,
    make_note,
    make_team,
    of_last,
    propose,
    recompute,
)

pytestmark = pytest.mark.django_db

SHIRT = ["head in", "right arm", "left arm", "head out", "pull down", "straighten"]
FOODS = ["pear", "rice", "egg"]
FOOD_LEVELS = ["not in sight", "in sight", "near", "touches", "licks", "bites", "chews and swallows"]
PARTY = ["stays at home", "comes and leaves at once", "stays for the cake", "stays to the end", "invites a friend"]


def counts(successes: int, opportunities: int, **rest: Any) -> dict[str, Any]:
    return {"successes": successes, "opportunities": opportunities, **rest}


def buttons(done: int, seconds: int, cues: int) -> dict[str, Any]:
    return counts(done, 4, components={"duration": {"value": str(seconds)}, "prompts": {"value": str(cues)}})


def shirt(alone: int, lowest: str) -> dict[str, Any]:
    helped = ["supervision"] * alone + [lowest] + ["minimal"] * (5 - alone)
    return {"trials": [{"step": step, "assistance": level} for step, level in zip(SHIRT, helped, strict=True)]}


def foods(*levels: int) -> dict[str, Any]:
    return {
        "trials": [{"exemplar": food, "value": FOOD_LEVELS[level]} for food, level in zip(FOODS, levels, strict=True)]
    }


def values(*numbers: Any) -> list[dict[str, Any]]:
    return [{"value": number} for number in numbers]


BUTTONS = {
    "body": {
        "measure": {"kind": "accuracy", "trial_name": "buttons"},
        "components": [{"kind": "duration", "unit": "s"}, {"kind": "prompts"}],
        "criterion": criterion(
            clause("accuracy", "at_least", "1"),
            clause("duration", "at_most", "120"),
            clause("prompts", "at_most", "1", most_prompting="spoken"),
            consistency=of_last(3, 4),
        ),
    },
    "baseline": [buttons(1, 180, 4)],
    "visits": [buttons(2, 170, 3), buttons(3, 150, 2), buttons(4, 140, 1), buttons(4, 115, 1), buttons(4, 110, 0)],
    "expected": {"state": "not_met", "satisfied": 2, "window": 4},
}
LETTERS = {
    "body": {
        "measure": {"kind": "accuracy", "trial_name": "letters", "independent_trials": False},
        "criterion": criterion(
            clause("accuracy", "at_least", "0.85"),
            consistency=in_a_row(3),
            minimum_data={"trials": 20},
            generalization={"settings": 2},
        ),
    },
    "baseline": [counts(11, 24), counts(10, 25), counts(12, 24)],
    "visits": [
        counts(15, 24, setting="clinic"),
        counts(18, 25, setting="clinic"),
        counts(21, 24, setting="clinic"),
        counts(22, 25, setting="classroom"),
        counts(20, 23, setting="clinic"),
    ],
    "expected": {
        "state": "met",
        "first_met_on": "2026-03-31",
        "level": ".8750",
        "percent": "106.4",
        "slope": ".0706",
        "wilson": (63, 72, ".7792", ".9328"),
    },
}
CIRCLE = {
    "body": {
        "purpose": "reduce",
        "direction": "decrease",
        "measure": {"kind": "quantity", "unit": "mm"},
        "criterion": criterion(clause("quantity", "at_most", "6"), consistency=of_last(2, 3)),
    },
    "baseline": values("18"),
    "visits": values("15", "14", "11", "8", "6"),
    "expected": {"state": "not_met", "satisfied": 1, "window": 3, "level": "8", "percent": "83.3", "slope": "-2.4167"},
}
PULLOVER = {
    "body": {
        "measure": {"kind": "steps", "names": SHIRT},
        "criterion": criterion(
            clause("steps", "at_least", "5", most_assistance="minimal"), consistency=of_last(3, 4)
        ),
    },
    "baseline": [shirt(1, "maximal")],
    "visits": [
        shirt(2, "maximal"), shirt(3, "moderate"), shirt(4, "moderate"), shirt(5, "minimal"), shirt(5, "minimal"),
    ],
    "expected": {"state": "not_met", "satisfied": 2, "window": 4, "percent": None, "slope": None},
}  # fmt: skip
TEETH = {
    "body": {
        "measure": {"kind": "ordered", "scale": "assistance"},
        "criterion": criterion(clause("ordered", "at_least", "supervision"), consistency=of_last(4, 5)),
    },
    "baseline": values("moderate"),
    "visits": values("moderate", "minimal", "minimal", "supervision", "supervision"),
    "expected": {
        "state": "not_met",
        "satisfied": 2,
        "window": 5,
        "level": "supervision",
        "percent": None,
        "slope": None,
        "sentence": "No percent, no slope: ordered.",
    },
}
NEW_FOODS = {
    "scale": FOOD_LEVELS,
    "body": {
        "measure": {"kind": "ordered", "strata": "exemplar", "names": FOODS},
        "criterion": criterion(clause("ordered", "at_least", "licks", share="2"), consistency=of_last(3, 4)),
    },
    "baseline": [foods(0, 0, 0)],
    "visits": [foods(1, 1, 0), foods(2, 1, 1), foods(4, 2, 1), foods(4, 4, 2), foods(5, 4, 2)],
    "expected": {"state": "not_met", "satisfied": 2, "window": 4, "percent": None, "slope": None},
}
TURNS = {
    "body": {
        "measure": {"kind": "quantity", "unit": "{turns}"},
        "criterion": criterion(clause("quantity", "at_least", "4"), consistency=of_last(3, 4)),
    },
    "baseline": values(1),
    "visits": values(1, 2, 3, 4, 4),
    "expected": {"state": "not_met", "satisfied": 2, "window": 4, "slope": "1.0000"},
}
FLOOR_PLAY = {
    "body": {
        "measure": {"kind": "duration", "unit": "s"},
        "criterion": criterion(clause("duration", "at_least", "600"), consistency=in_a_row(2)),
    },
    "baseline": values("150"),
    "visits": [
        *values("180", "240", "420"),
        {"value": "600", "censored": "at_least"},
        {"value": "600", "censored": "at_least"},
    ],
    "expected": {"state": "met", "first_met_on": "2026-03-31", "bound": "lower"},
}
HAIR = {
    "body": {
        "measure": {"kind": "accuracy", "trial_name": "days"},
        "criterion": criterion(
            clause("accuracy", "at_least", "5/7"), consistency=in_a_row(2), minimum_data={"days": 5}
        ),
    },
    "baseline": [counts(1, 7, source="caregiver")],
    "visits": [counts(done, days, source="caregiver") for done, days in ((1, 7), (2, 7), (3, 6), (5, 7), (5, 7))],
    "expected": {"state": "met", "first_met_on": "2026-03-31"},
}
BALANCE = {
    "body": {
        "measure": {"kind": "score", "standard_error": "1.0"},
        "criterion": criterion(clause("score", "at_least", "6"), consistency=of_last(1, 1)),
    },
    "baseline": values("4"),
    "visits": [*[{"not_measured": "not_planned"}] * 4, {"value": "6"}],
    "expected": {"state": "met", "reliable": False, "index": "1.414"},
}
CARPET = {
    "body": {
        "measure": {"kind": "interval", "interval_method": "momentary"},
        "criterion": criterion(
            clause("interval", "at_least", "0.8"), consistency=of_last(4, 5), minimum_data={"intervals": 20}
        ),
    },
    "baseline": [counts(12, 30), counts(13, 30), counts(11, 30)],
    "visits": [counts(16, 30), counts(20, 30), counts(24, 30), counts(25, 30), counts(18, 20)],
    "expected": {
        "state": "not_met",
        "satisfied": 3,
        "window": 5,
        "level": ".8333",
        "percent": "108.3",
        "slope": ".0875",
    },
}
SEAT = {
    "body": {
        "purpose": "reduce",
        "direction": "decrease",
        "measure": {"kind": "rate", "per_minutes": "30"},
        "criterion": criterion(
            clause("rate", "at_most", "2"), consistency=of_last(3, 4), minimum_data={"minutes": "15"}
        ),
    },
    "baseline": [{"value": 12, "watched": 30}],
    "visits": [
        {"value": events, "watched": minutes} for events, minutes in ((8, 20), (6, 30), (3, 15), (2, 30), (1, 20))
    ],
    "expected": {
        "state": "not_met",
        "satisfied": 2,
        "window": 4,
        "slope": "-2.4375",
        "values": ["12", "6", "6", "2", "1.5"],
    },
}
BIRTHDAY = {
    "body": {
        "measure": {"kind": "rating", "levels": PARTY},
        "criterion": criterion(clause("rating", "at_least", "0"), consistency=of_last(2, 3)),
    },
    "baseline": values(-2),
    "visits": values(-2, -1, -1, 0, 0),
    "expected": {"state": "met", "first_met_on": "2026-03-31", "t": ("30", "50")},
}


@pytest.mark.parametrize(
    "case",
    [
        pytest.param(BUTTONS, id="1 vest buttons"),
        pytest.param(LETTERS, id="2 legible letters"),
        pytest.param(CIRCLE, id="3 cuts a circle"),
        pytest.param(PULLOVER, id="4 pullover shirt"),
        pytest.param(TEETH, id="5 brushes teeth"),
        pytest.param(NEW_FOODS, id="6 new foods"),
        pytest.param(TURNS, id="8 takes turns"),
        pytest.param(FLOOR_PLAY, id="9 floor play"),
        pytest.param(HAIR, id="11 hair washing"),
        pytest.param(BALANCE, id="13 balance score"),
        pytest.param(CARPET, id="14 carpet time"),
        pytest.param(SEAT, id="17 leaves the seat"),
        pytest.param(BIRTHDAY, id="18 birthday party"),
    ],
)
def test_a_worked_goal_comes_out_as_computed_by_hand(case):
    """Put by the assistant, measured at a baseline and five visits, shown to the therapist."""
    team = make_team()
    goal_id = entered(team, case)
    notes = [make_note(team, goal_id, BASELINE_DAY, *case["baseline"])]
    notes += [make_note(team, goal_id, day, sheet) for day, sheet in zip(VISIT_DAYS, case["visits"], strict=True)]
    recompute(*notes)
    answer = make.signed_in(team.therapist).get(f"/api/v1/goals/{goal_id}/progress/")
    assert answer.status_code == 200
    assert_found(answer.json()["found"], case["expected"])


def entered(team: Any, case: dict[str, Any]) -> str:
    body = goal_body(team, **case["body"])
    if "scale" in case:
        scale_id = make.new_id()
        scale = {"name": "Accepting a new food", "levels": case["scale"]}
        assert make.signed_in(team.therapist).put(f"/api/v1/scales/{scale_id}/", scale).status_code == 201
        body["measure"] = {**body["measure"], "scale": scale_id}
    answer = propose(make.signed_in(team.assistant), body)
    assert answer.status_code == 201, answer.content
    return answer.json()["id"]


def assert_found(found: dict[str, Any], expected: dict[str, Any]) -> None:
    judged, level, slope = found["criterion"], found["level"], found["slope"]
    seen = {
        "state": judged["state"],
        "satisfied": judged["satisfied"],
        "window": judged["window"],
        "first_met_on": judged["first_met_on"],
        "level": level["name"] or rounded(level["value"], expected.get("level")),
        "percent": rounded(found["percent"]["value"], expected.get("percent")),
        "slope": rounded(slope["value"], expected.get("slope")),
        "bound": slope["bound"],
        "reliable": (found["reliable_change"] or {}).get("reliable"),
        "index": rounded((found["reliable_change"] or {}).get("index"), expected.get("index")),
        "t": tuple((found["attainment"] or {}).get(name) for name in ("baseline", "now")),
        "wilson": wilson(found["interval"]),
        "values": [visit["value"] for visit in found["visits"] if visit["phase"] == "intervention"],
        "sentence": next((said for said in found["sentences"] if said == expected.get("sentence")), None),
    }
    assert {name: seen[name] for name in expected} == expected


def wilson(found: dict[str, Any] | None) -> tuple | None:
    if found is None:
        return None
    return (found["successes"], found["counted"], rounded(found["low"], ".0000"), rounded(found["high"], ".0000"))


def rounded(shown: str | None, like: str | None) -> str | None:
    """The number at as many places as the expected one has, written like it."""
    if shown is None or like is None:
        return shown
    places = len(like.partition(".")[2])
    text = format(Decimal(shown).quantize(Decimal(1).scaleb(-places)), "f")
    return text.replace("0.", ".", 1) if like.startswith(".") else text


def test_what_a_visit_measured_is_kept_raw():
    """Each trial is shown as it was counted, beside what was derived from it."""
    team = make_team()
    goal_id = entered(team, PULLOVER)
    make_note(team, goal_id, VISIT_DAYS[0], shirt(2, "maximal"))
    rows = make.signed_in(team.assistant).get(f"/api/v1/goals/{goal_id}/measurements/").json()["results"]
    assert [(row["measured"], row["successes"], row["counted"], row["value"], row["counts"]) for row in rows] == [
        (shirt(2, "maximal"), 2, 6, "2", True)
    ]
