"""Measures the hot reads on the ground that was laid for them."""

import orjson
import psycopg

from tests.bench import practice
from tests.bench.caller import Caller, token_of, with_session, with_token
from tests.bench.ground import in_turn, judged, median, row
from tests.bench.read_sides import READS, ByHand

MOST_TIMES = 3.0
WARM_UP = 20


def run(url: str, *, quick: bool) -> int:
    reader = practice.fill(url, practice.QUICK if quick else practice.FULL)
    token, (by_session, session) = token_of(reader), with_session(reader)
    rounds = 30 if quick else 200
    with psycopg.connect(url, autocommit=True) as connection:
        ways = {
            "token": (with_token(token), ByHand(connection, token=token)),
            "session": (by_session, ByHand(connection, session=session)),
        }
        row("median of each", "service", "by hand", "times")
        times = [_times(way, name, *sides, rounds=rounds) for way, sides in ways.items() for name in READS]
    return judged(
        f"slowest read {max(times):.2f} times by hand, at most {MOST_TIMES:.0f}", held=max(times) <= MOST_TIMES
    )


def _times(way: str, name: str, caller: Caller, hand: ByHand, *, rounds: int) -> float:
    path, of = READS[name]
    _require_same_answer(caller.get(path), of(hand)(0))
    taken = in_turn({"service": lambda _: caller.get(path), "hand": of(hand)}, rounds=rounds, warm_up=WARM_UP)
    service, by_hand = median(taken["service"]), median(taken["hand"])
    row(f"{name}, by {way}", f"{service:.2f} ms", f"{by_hand:.2f} ms", f"{service / by_hand:.2f}")
    return service / by_hand


def _require_same_answer(service: bytes, by_hand: bytes) -> None:
    """Both sides answer the same rows; the links of a page are the service's own."""
    shown, floor = orjson.loads(service), orjson.loads(by_hand)
    if {name: shown[name] for name in floor} != floor:
        raise AssertionError("The two sides answer different rows")
    if not (floor.get("results") or floor.get("visits")):
        raise AssertionError("There is nothing to read")
