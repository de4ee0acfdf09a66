"""What the people under load do: document, sign, revise and sign again; co-sign, return, and both in one instant."""

import json
import queue
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from uuid import UUID

from uuid_utils.compat import uuid7

from tests.bench import note_world
from tests.bench.load_wire import Ended, Refused, Wire
from tests.bench.load_world import Writer

RETURNED_SHARE = 0.25
RACED_SHARE = 0.1
LOST_THE_RACE = {"already_decided", "digest_changed", "not_signed"}


@dataclass(frozen=True)
class Signed:
    """A signed note on its way to the desk, and the box of whoever must revise it if it comes back."""

    note: str
    body: dict
    box: "queue.SimpleQueue[Signed]"


Desk = queue.SimpleQueue


def assist(wire: Wire, who: Writer, desk: "Desk[Signed]") -> None:
    """Put and sign one note after the other; what came back goes first."""
    returned: queue.SimpleQueue[Signed] = queue.SimpleQueue()
    waiting = list(who.parts)
    while not wire.ending.is_set() and (waiting or not returned.empty()):
        if not returned.empty():
            again = returned.get()
            _put_and_sign(wire, again.note, again.body | {"plan": "As asked: the prompts were spoken."}, revised=True)
            desk.put(again)
            continue
        signed = _new(wire, who, waiting.pop(), returned)
        desk.put(signed)


def _new(wire: Wire, who: Writer, part: UUID, box: "queue.SimpleQueue[Signed]") -> Signed:
    note = str(uuid7())
    body = json.loads(note_world.body_of(part, who.goals, successes=wire.chance.randrange(11)))
    _put_and_sign(wire, note, body, revised=False)
    return Signed(note, body, box)


def _put_and_sign(wire: Wire, note: str, body: dict, *, revised: bool) -> None:
    """A repeated PUT of a new note answers as the first did; a repeated change is known by what the note now says."""
    path = f"/notes/{note}/"
    if not revised:
        _, etag = wire.write("PUT", path, body, {}, kind="put", note=note, part=body["participation"])
    else:
        etag = _revise(wire, path, note, body)
    headers = {"If-Match": etag, "Idempotency-Key": str(uuid7())}
    wire.write("POST", f"{path}sign/", {"pin": note_world.PIN}, headers, kind="sign", note=note)


def _revise(wire: Wire, path: str, note: str, body: dict) -> str:
    seen, etag = wire.get(path)
    try:
        _, etag = wire.write("PUT", path, body, {"If-Match": etag}, kind="revise", note=note)
    except Refused as refusal:
        # Cut after it was applied: the version has moved on, and the note says what was sent.
        seen, etag = wire.get(path)
        if refusal.status != 412 or seen["draft"] != body:
            raise
    return etag


def supervise(wires: tuple[Wire, Wire], desk: "Desk[Signed]") -> None:
    """Decide on what is signed; now and then a colleague decides on the same version in the same instant."""
    own, other = wires
    with ThreadPoolExecutor(1) as colleague:
        while not own.ending.is_set():
            try:
                signed = desk.get(timeout=0.2)
            except queue.Empty:
                continue
            back = own.chance.random() < RETURNED_SHARE
            raced = own.chance.random() < RACED_SHARE
            beside = colleague.submit(_decide, other, signed, back=not back) if raced else None
            outcomes = [_decide(own, signed, back=back), beside.result() if beside else None]
            if "returned" in outcomes:
                signed.box.put(signed)


def _decide(wire: Wire, signed: Signed, *, back: bool) -> str | None:
    path = f"/notes/{signed.note}/"
    seen, _ = wire.get(path)
    if seen["state"] != "signed":
        return None
    asked = {"pin": note_world.PIN, "digest": seen["current"]["digest"]}
    act, outcome = ("return", "returned") if back else ("cosign", "cosigned")
    body = asked | {"reason": "Which prompts were given?"} if back else asked
    try:
        wire.write("POST", f"{path}{act}/", body, {"Idempotency-Key": str(uuid7())}, kind=outcome, note=signed.note)
    except Refused as refusal:
        if refusal.status != 409:
            raise
        wire.counts["second to decide"] += 1
        return None
    return outcome


def until_the_end(act: Callable[[], None]) -> None:
    try:
        act()
    except Ended:
        return
