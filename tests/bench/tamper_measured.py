"""Makes the attacks on the ground that was laid for them, and counts what the check finds."""

import logging
import random
import shutil
import time
from collections import Counter
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from uuid_utils.compat import uuid7

from clinic import audit
from clinic.enums import AccountAction
from clinic.processes import worker
from clinic.rules.seals import Broken, Finding, key_id
from clinic.selectors.seal_check import Checked, look_over
from clinic.services.seals import seal_rows
from tests import factories as make
from tests.architecture.world import run as run_sql
from tests.bench import tamper_acts, tamper_record
from tests.bench.ground import judged, row
from tests.bench.tamper_acts import ATTACKS, SEALED_BY_THE_SERVICE, Attack, Place

SEED = 20261125
WINDOW_SECONDS = 10.0
# When the running service seals what the attacker put in.
SEALED_AT = "2026-12-01 04:01"
BY_MARK = {Broken.EVENT_FORGED, Broken.ACT_UNTOLD}


class Study:
    """The untouched record, and what happens to it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.keys = {key_id(settings.AUDIT_KEY.encode()): settings.AUDIT_KEY.encode()}

    def check(self, path: Path) -> Checked:
        # What waits too long for its seal is a matter of the machine's clock, which the record's days are not.
        return look_over(now=make.at("2020-01-01 00:00"), keys=self.keys, path=path)

    def tried(self, attack: Attack, dice: random.Random, *, anchored: bool = True) -> tuple[Place, Checked]:
        """One attack on the untouched record, and what the check says then; nothing of it stays."""
        anchor = self.path.with_name("anchor-of-this-attack")
        shutil.copy(self.path, anchor)
        with transaction.atomic():
            tamper_acts.put_guards_to_sleep()
            place = attack(dice)
            if attack in SEALED_BY_THE_SERVICE:
                seal_rows(now=make.at(SEALED_AT), path=anchor)
            checked = self.check(anchor if anchored else self.path.with_name("no-anchor"))
            transaction.set_rollback(True)
        return place, checked


def run(*, quick: bool) -> int:
    logging.getLogger("seal").setLevel(logging.ERROR)
    study, dice = Study(settings.AUDIT_ANCHOR), random.Random(SEED)  # noqa: S311
    tamper_record.made(visits=6 if quick else 30, path=study.path)
    if not quick:
        print(f"seed {SEED}", flush=True)
    window = _longest_wait(study, seconds=6 if quick else 60)
    with transaction.atomic():
        tamper_acts.take_constraints_away()
    with transaction.atomic():
        untouched = study.check(study.path)
    row(
        "the untouched record",
        f"{untouched.seals} seals",
        f"{untouched.entries} rows",
        f"{len(untouched.findings)} found",
    )
    found, named, tried = _attacks(study, dice, each=20 if quick else 200)
    held = _controls(study, dice) and not untouched.findings and found == named == tried and window <= WINDOW_SECONDS
    return judged(
        f"found {found} and named {named} of {tried}, {len(untouched.findings)} on the untouched record; "
        f"unsealed for {window:.1f} s at the most, at most {WINDOW_SECONDS:.0f} s",
        held=held,
    )


def _attacks(study: Study, dice: random.Random, *, each: int) -> tuple[int, int, int]:
    row("attacks", "made", "found", "named first", "check, ms")
    found = named = tried = 0
    for kind, attacks in ATTACKS.items():
        counts, started = Counter[str](), time.perf_counter()
        for number in range(each):
            attack = attacks[number % len(attacks)]
            place, checked = study.tried(attack, dice)
            counts["found"] += bool(checked.findings)
            counts["named"] += bool(checked.first and _points_to(checked.first, place))
            if not (checked.first and _points_to(checked.first, place)):
                print(f"  {attack.__name__}: {place}, but first: {checked.first}", flush=True)
        spent = (time.perf_counter() - started) * 1000 / each
        row(kind, str(each), str(counts["found"]), str(counts["named"]), f"{spent:.0f}")
        found, named, tried = found + counts["found"], named + counts["named"], tried + each
    return found, named, tried


def _points_to(finding: Finding, place: Place) -> bool:
    if place.row_id is not None:
        return str(finding.row_id) == str(place.row_id)
    if place.ordinal is not None and finding.ordinal == place.ordinal:
        return True
    return place.seal is not None and finding.seal == place.seal


def _controls(study: Study, dice: random.Random) -> bool:
    """The same check with one eye shut misses what only that eye sees: otherwise the study would prove nothing."""
    unseen = 0
    for _ in range(5):
        _, checked = study.tried(tamper_acts.cut_tail, dice, anchored=False)
        unseen += {finding.broken for finding in checked.findings} == {Broken.ANCHOR_MISSING}
    row("control: cut tails without the anchor", "5", f"{5 - unseen} found")
    unmarked = 0
    for _ in range(5):
        _, checked = study.tried(tamper_acts.insert_a_present_event, dice)
        unmarked += not [finding for finding in checked.findings if finding.broken not in BY_MARK]
    row("control: forged events without their marks", "5", f"{5 - unmarked} found")
    return (unseen, unmarked) == (5, 5)


def _longest_wait(study: Study, *, seconds: float) -> float:
    """How long a row is without a seal while a real worker seals on its schedule."""
    waits: list[float] = []
    pending: dict[UUID, float] = {}
    with worker(var=settings.VAR_DIR):
        _told_event()
        _until_sealed()
        until = time.monotonic() + seconds
        while time.monotonic() < until or pending:
            if time.monotonic() < until:
                pending[_told_event()] = time.monotonic()
            for row_id in _sealed_of(list(pending)):
                waits.append(time.monotonic() - pending.pop(row_id))
            time.sleep(0.1)
    row("waited for a seal", f"{len(waits)} rows", f"mean {sum(waits) / len(waits):.1f} s", f"most {max(waits):.1f} s")
    return max(waits)


def _told_event() -> UUID:
    event = audit.AccountEvent(at=timezone.now(), action=AccountAction.SIGN_IN, status=302, request_id=uuid7().hex)
    audit.write_account(event)
    ((row_id,),) = run_sql("SELECT id FROM clinic_accountevent WHERE request_id = %s", [event.request_id])
    return row_id


def _sealed_of(ids: list[UUID]) -> list[UUID]:
    asked = "SELECT row_id FROM clinic_sealentry WHERE kind = 'clinic_accountevent' AND row_id = ANY(%s)"
    return [row_id for (row_id,) in run_sql(asked, [ids])]


def _until_sealed(patience: float = 40) -> None:
    until = time.monotonic() + patience
    while run_sql("SELECT 1 FROM clinic_unsealed LIMIT 1"):
        if time.monotonic() > until:
            raise TimeoutError("The worker seals nothing")
        time.sleep(0.1)
