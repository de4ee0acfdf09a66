"""The main way, told step by step: measured, signed, computed, returned, revised, co-signed. Each step is checked."""

import time
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from scheduling.demonstration import clinic
from scheduling.demonstration.browser import Browser, Refused
from scheduling.demonstration.clinic import LAST_NOTE, PIN, People, at, named

PATIENCE = 20.0
CRITERION = {
    "clauses": [{"component": "accuracy", "comparison": "at_least", "value": "8/10", "primary": True}],
    "consistency": {"kind": "of_last", "k": 3, "m": 4},
    "minimum_data": {"trials": 10},
}
SUCCESSES = (6, 8, 5, 8, 9)


class StepFailed(Exception):
    """What the story promised did not happen."""


class Story:
    """Tells it through the API alone; `say` prints, every promise is held against the answer."""

    def __init__(self, people: People, *, today: date, say: Callable[[str], None]) -> None:
        self.people = people
        self.today = today
        self.say = say
        self.goal = named("goal")
        self.days = clinic.visit_days(today)

    def tell(self) -> None:
        self._set_a_goal()
        self._measure_the_baseline()
        for number in range(4):
            self._document(number, SUCCESSES[number])
        self.say(f"4. Ana documents four weekly visits: {', '.join(map(str, SUCCESSES[:4]))} of 10.")
        self._reach_the_criterion()
        self._return_the_note()
        self._revise_and_cosign()
        self._verify()

    def _set_a_goal(self) -> None:
        ruth, path = self.people.supervisor, f"/goals/{self.goal}/"
        ruth.put(
            path,
            {
                "episode": named("episode"),
                "text": "Fastens the buttons of a vest while dressing for school, eight of ten",
                "purpose": "improve",
                "direction": "increase",
                "measure": {"kind": "accuracy", "trial_name": "buttons"},
                "baseline_starts_on": str(self.days[0] - timedelta(days=7)),
                "intervention_starts_on": str(self.days[0]),
                "criterion": CRITERION,
                "due_on": str(self.today + timedelta(days=60)),
            },
        )
        since = str(self.days[0] - timedelta(days=7))
        ruth.act(f"{path}accept/", {"on": since}, on=path)
        goal = ruth.act(f"{path}activate/", {"on": since}, on=path)
        self._hold(goal["lifecycle"] == "active", "the goal is active")
        self.say(
            f"2. Ruth writes goal {goal['number']}: {goal['text']}. Met at 8 of 10 in three of the last four visits."
        )

    def _measure_the_baseline(self) -> None:
        part = self._visit(self.people.supervisor, "ruth", self.days[0] - timedelta(days=5), "evaluation")
        self._sign(self.people.supervisor, "baseline", part, [(1, 3), (2, 3), (3, 4)])
        self.say("3. Ruth evaluates and measures a baseline: 3, 3 and 4 of 10.")

    def _visit(self, who: Browser, name: str, day: date, kind: str = "treatment") -> str:
        answer = who.put(
            f"/visits/{named(f'visit of {day}')}/",
            {
                "site": clinic.site(self.people),
                "kind": kind,
                "starts_at": at(day, 15),
                "ends_at": at(day, 15, 45),
                "staff": [named(name)],
                "children": [{"episode": named("episode")}],
            },
        )
        return answer["children"][0]["id"]

    def _sign(self, who: Browser, name: str, part: str, counted: list[tuple[int, int]]) -> dict[str, Any]:
        path = f"/notes/{named(name)}/"
        who.put(
            path,
            {
                "participation": part,
                "subjective": "Her mother says that mornings are calmer.",
                "objective": "Buttoned a vest, seated at the table, ten buttons offered.",
                "plan": "Go on, then try the school coat.",
                "minutes": 45,
                "measurements": [
                    {"goal": self.goal, "slot": slot, "successes": successes, "opportunities": 10}
                    for slot, successes in counted
                ],
            },
        )
        return who.act(f"{path}sign/", {"pin": PIN}, on=path)

    def _document(self, number: int, successes: int) -> dict[str, Any]:
        part = self._visit(self.people.assistant, "ana", self.days[number])
        return self._sign(self.people.assistant, f"note {number}", part, [(1, successes)])

    def _progress(self, wanted: Callable[[dict[str, Any]], bool], promise: str) -> dict[str, Any]:
        """The goal's findings, once the worker has followed; the promise is broken when it does not."""
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            row = next(iter(self._history()), None)
            if row is not None and wanted(row):
                return self.people.assistant.get(f"/goals/{self.goal}/progress/")["found"]
            time.sleep(0.1)
        raise StepFailed(promise)

    def _history(self) -> list[dict[str, Any]]:
        return self.people.assistant.get(f"/goals/{self.goal}/progress-history/?page_size=1")["results"]

    def _reach_the_criterion(self) -> None:
        self._document(4, SUCCESSES[4])
        started = time.monotonic()
        found = self._progress(lambda row: row["criterion"] == "met", "the worker finds the criterion met")
        took = time.monotonic() - started
        self._hold(found["preliminary"], "an unsigned-off result is preliminary")
        self.say(
            f"5. The fifth visit, 9 of 10, is signed. {took:.1f} s later: met, preliminary; slope {_per_week(found)}."
        )

    def _return_the_note(self) -> None:
        ruth, path = self.people.supervisor, f"/notes/{named(LAST_NOTE)}/"
        queue = ruth.get("/cosign-queue/")["results"]
        waiting = {row["document"] for row in queue}
        self._hold(named(LAST_NOTE) in waiting, "the note waits in the supervisor's queue")
        digest = ruth.get(path)["current"]["digest"]
        ruth.act(f"{path}return/", {"pin": PIN, "digest": digest, "reason": "Which two needed a cue? Please recount."})
        found = self._progress(lambda row: row["criterion"] == "not_met", "a returned note counts no more")
        self.say(f"6. Ruth returns it with a reason. The goal is not met any more; slope {_per_week(found)}.")

    def _revise_and_cosign(self) -> None:
        ana, ruth, path = self.people.assistant, self.people.supervisor, f"/notes/{named(LAST_NOTE)}/"
        first = ruth.get(path)["current"]["digest"]
        part = ana.get(path)["participation"]
        self._sign(ana, LAST_NOTE, part, [(1, 7)])
        found = self._progress(lambda row: row["last_value"] == "0.7", "the revised note counts")
        self.say(f"7. Ana recounts: 7 of 10, version 2. Not met; slope {_per_week(found)}; {_share(found)} of the way.")
        self._refused(409, lambda: ruth.act(f"{path}cosign/", {"pin": PIN, "digest": first}))
        self._refused(403, lambda: ana.act(f"{path}cosign/", {"pin": PIN, "digest": first}))
        second = ruth.get(path)["current"]["digest"]
        note = ruth.act(f"{path}cosign/", {"pin": PIN, "digest": second})
        self._hold(note["state"] == "cosigned", "the note is co-signed")
        names = ", ".join(row["printed_name"] for row in note["current"]["signatures"])
        self.say(f"8. Ruth co-signs: refused for the version before, done for the one that she read ({names}).")

    def _verify(self) -> None:
        answer = self.people.supervisor.get(f"/documents/{named(LAST_NOTE)}/verify/")
        self._hold(answer["intact"] and len(answer["versions"]) == 2, "both versions are intact")
        self.say("9. Both versions verify: content, chain and signatures agree.")

    def _hold(self, true: Any, promise: str) -> None:
        if not true:
            raise StepFailed(promise)

    def _refused(self, status: int, do: Callable[[], Any]) -> None:
        try:
            do()
        except Refused as exc:
            self._hold(exc.status == status, f"refused with {status}, not {exc}")
        else:
            raise StepFailed(f"something was accepted that must be refused with {status}")


def _per_week(found: dict[str, Any]) -> str:
    """Successes of ten a week, as a practitioner would say it."""
    value = found["slope"]["value"]
    return "not known yet" if value is None else f"{Decimal(value) * 10:+.3f} of 10 a week"


def _share(found: dict[str, Any]) -> str:
    value = found["percent"]["value"]
    return "no percent" if value is None else f"{Decimal(value):.0f} %"
