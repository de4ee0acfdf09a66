"""Measures the main job on the ground that was laid for it."""

from functools import partial
from unittest import mock

import psycopg
from django.test import override_settings

from clinic.services import pins
from tests.bench import note_doors, note_world, progress_wait
from tests.bench.caller import token_of, with_token
from tests.bench.ground import in_turn, judged, median, row
from tests.bench.note_sides import Side, rows_written

VISIBLE_WITHIN_SECONDS = 2.0
MOST_TIMES = 4.0
MEASUREMENTS = 5
WARM_UP = 10


class AnyPin:
    """Stands for Argon2, which both sides leave out."""

    def verify(self, stored: str, given: str) -> bool:
        return bool(stored and given)


def run(url: str, *, quick: bool) -> int:
    waited = _waited(8 if quick else 20)
    times = _times(url, rounds=30 if quick else 150)
    return judged(
        f"worst wait {max(waited):.2f} s of at most {VISIBLE_WITHIN_SECONDS:.0f} s, "
        f"a note's writes {times:.2f} times the statements of at most {MOST_TIMES:.0f}",
        held=max(waited) <= VISIBLE_WITHIN_SECONDS and times <= MOST_TIMES,
    )


def _waited(notes: int) -> list[float]:
    world = note_world.made(goals=MEASUREMENTS)
    with progress_wait.worker():
        waited = progress_wait.waits(with_token(token_of(world.assistant)), world, notes)
    row(f"progress after signing, {notes} notes", f"median {median(waited):.3f} s", f"worst {max(waited):.3f} s")
    return waited


def _times(url: str, *, rounds: int) -> float:
    """A note's two writes by the service over the same two with one statement behind the door."""
    world = note_world.made(goals=MEASUREMENTS)
    parts = note_world.visits(world, 2 * (rounds + WARM_UP + 1))
    caller = with_token(token_of(world.assistant))
    here = override_settings(ROOT_URLCONF=note_doors.__name__)
    with here, mock.patch.object(pins, "HASHER", AnyPin()):
        service = Side(caller, "/api/v1/notes/", parts[::2], world.goals)
        hand = Side(caller, "/by-hand/", parts[1::2], world.goals)
        with psycopg.connect(url, autocommit=True) as connection:
            _require_same_rows(connection, service, hand, last=rounds + WARM_UP)
        put = in_turn({"service": service.put, "hand": hand.put}, rounds=rounds, warm_up=WARM_UP)
        sign = in_turn({"service": service.sign, "hand": hand.sign}, rounds=rounds, warm_up=WARM_UP)
    return _told(put, sign)


def _require_same_rows(connection: psycopg.Connection, service: Side, hand: Side, *, last: int) -> None:
    """Neither side does less than the other: the rows that a write adds are counted once for both."""
    for name, by_service, by_hand in (("put", service.put, hand.put), ("sign", service.sign, hand.sign)):
        written = [rows_written(connection, partial(write, last)) for write in (by_service, by_hand)]
        if written[0] != written[1]:
            raise AssertionError(f"{name}: the service wrote {written[0]}, the statement {written[1]}")


def _told(put: dict[str, list[float]], sign: dict[str, list[float]]) -> float:
    row("a note with five measurements, median", "service", "one statement", "times", "statement alone")
    figures = {name: {side: median(taken[side]) for side in taken} for name, taken in (("put", put), ("sign", sign))}
    figures["put"]["alone"] = median(note_doors.PutByHand.alone)
    figures["sign"]["alone"] = median(note_doors.SignByHand.alone)
    figures["both"] = {side: figures["put"][side] + figures["sign"][side] for side in figures["put"]}
    for name, by in figures.items():
        times = f"{by['service'] / by['hand']:.2f}"
        row(name, f"{by['service']:.2f} ms", f"{by['hand']:.2f} ms", times, f"{by['alone']:.2f} ms")
    print(f"without any door on the other side, {figures['both']['service'] / figures['both']['alone']:.1f} times")
    return figures["both"]["service"] / figures["both"]["hand"]
