"""Walks every door for leaks, times what is out of reach against what is not there, and plants leaks to be found."""

import gc
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

import time_machine
from django.db import transaction
from django.test.utils import setup_test_environment, teardown_test_environment

from clinic.api.views import ListDoor
from clinic.models.clients import PrecautionQuerySet
from clinic.selectors import rows
from tests.architecture import beyond
from tests.architecture.doors import list_doors, named_acts
from tests.architecture.reach_walk import (
    Leak,
    askers,
    clinic_with_others,
    is_told_apart,
    leaks,
    there_and_absent,
    told_from_absent,
    undone,
)
from tests.bench.ground import in_turn, judged, median, row

MORNING = "2026-04-15T15:00:00Z"
MOST_APART = 0.05
REQUESTS = 1000
WAIT = 0.005  # planted: seconds
ASKER = "elsewhere"  # a therapist, who may ask at nearly every door, and treats another child
PLANTED_IN = ("GET", "precautions/<uuid:id>/")
LISTS = list_doors()
Act = tuple[str, str]


def run(*, quick: bool) -> int:
    setup_test_environment()
    try:
        with time_machine.travel(MORNING, tick=False), transaction.atomic():
            code = _judged(quick=quick)
            transaction.set_rollback(True)
        return code
    finally:
        teardown_test_environment()


def _judged(*, quick: bool) -> int:
    clinic = clinic_with_others()
    acts = [act for number, act in enumerate(named_acts()) if not quick or act[1] in LISTS or number % 8 == 0]
    found = _walked(clinic, acts)
    apart = _apart(clinic, _timed_doors(quick=quick))
    caught = _caught(clinic)
    figure = f"{len(acts)} acts of 9 principals, {len(found)} leaks, times at most {apart:.1%} apart (allowed 5%)"
    held = not found and apart <= MOST_APART and all(caught.values())
    return judged(f"{figure}, {sum(caught.values())} of {len(caught)} planted leaks caught", held=held)


def _walked(clinic: Any, acts: list[Act]) -> list[Leak]:
    found: list[Leak] = []
    for method, route in acts:
        here = leaks(clinic, method, route)
        here += told_from_absent(clinic, method, route) if is_told_apart(method, route) else []
        for leak in here:
            print(leak, flush=True)
        found += here
    row("doors and methods asked", str(len(acts)))
    row("tables not asked about", str(len(beyond.not_asked_about())))
    for table in beyond.not_asked_about():
        print(table)
    return found


# --- The time that it takes -------------------------------------------------------------------------------


def _timed_doors(*, quick: bool) -> list[Act]:
    doors = [
        (method, route)
        for method, route in named_acts()
        if method == "GET" and "<uuid:id>" in route and is_told_apart(method, route) and ASKER in askers_of(route)
    ]
    return doors[:: len(doors) // 2][:2] if quick else doors


def askers_of(route: str) -> list[str]:
    return askers(f"GET {route}")


def _apart(clinic: Any, doors: list[Act]) -> float:
    """How far the medians of the worst door stand apart."""
    row("medians", "out of reach", "not there", "apart")
    return max(_apart_at(clinic, method, route, requests=REQUESTS) for method, route in doors)


def _apart_at(clinic: Any, method: str, route: str, *, requests: int) -> float:
    with undone(clinic):
        there, absent = there_and_absent(clinic, method, route)
        api = clinic.callers[ASKER]
        sides = {"there": lambda _: api.get(there.url), "absent": lambda _: api.get(absent.url)}
        with _undisturbed():
            taken = in_turn(sides, rounds=requests // 2, warm_up=10)
    one, other = median(taken["there"]), median(taken["absent"])
    apart = abs(one - other) / other
    row(route, f"{one:.3f} ms", f"{other:.3f} ms", f"{apart:.1%}")
    return apart


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Without the collector, which would stop one side and not the other."""
    gc.collect()
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


# --- Leaks that are planted -------------------------------------------------------------------------------


def _caught(clinic: Any) -> dict[str, bool]:
    """Which of these is found; each stands for a way in which reach could be forgotten."""
    planted: dict[str, Callable[[Any], bool]] = {
        "a list that forgets reach": _list_is_caught,
        "a word of the record in the trail": _word_is_caught,
        "a look for the row before reach is asked": _look_is_caught,
        "a wait where the row exists": _wait_is_caught,
    }
    caught = {name: is_caught(clinic) for name, is_caught in planted.items()}
    for name, seen in caught.items():
        row(name, "caught" if seen else "NOT CAUGHT")
    return caught


def _list_is_caught(clinic: Any) -> bool:
    with mock.patch.object(PrecautionQuerySet, "visible_to", lambda found, actor, action: found):
        return any(leak.told == "another answer" for leak in leaks(clinic, "GET", "precautions/"))


def _word_is_caught(clinic: Any) -> bool:
    touch_rows = ListDoor.touch_rows

    def quoting(door: Any, shown: Any) -> None:
        touch_rows(door, shown)
        door.reason = " ".join(one.text for one in shown)

    with mock.patch.object(ListDoor, "touch_rows", quoting):
        return any("left behind" in leak.told for leak in leaks(clinic, "GET", "precautions/"))


def _look_is_caught(clinic: Any) -> bool:
    with _looking_first(lambda found, row_id: found.model.objects.filter(pk=row_id).first() and found.count()):
        return any("statements" in leak.told for leak in told_from_absent(clinic, *PLANTED_IN))


def _wait_is_caught(clinic: Any) -> bool:
    def wait(found: Any, row_id: Any) -> None:
        if found.model.objects.filter(pk=row_id).exists():
            time.sleep(WAIT)

    with _looking_first(wait):
        return _apart_at(clinic, *PLANTED_IN, requests=100) > MOST_APART


@contextmanager
def _looking_first(look: Callable[[Any, Any], Any]) -> Iterator[None]:
    find = rows.one

    def looking(found: Any, row_id: Any, *, lock: bool = False) -> Any:
        look(found, row_id)
        return find(found, row_id, lock=lock)

    with mock.patch("clinic.api.precautions.one", looking):
        yield
