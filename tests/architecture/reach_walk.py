"""Walks the doors: does a row out of reach change any answer, and is it told from one that does not exist?"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

from django.db import transaction

from clinic import models as c
from tests.architecture import beyond
from tests.architecture.access_expected import EXPECTED
from tests.architecture.beyond import CHILD
from tests.architecture.clinic_of_nine import PRINCIPALS, Clinic, make_clinic
from tests.architecture.reach import Heard, hear
from tests.architecture.subjects import Ask, ask
from tests.architecture.world import DAY
from tests.factories import new_id

# They see the organization's schedule, names and contacts: only what is clinical is out of their reach.
NO_CLINICIANS = ("administrator", "front_desk", "system")
# Where the number of things that one may not read is itself what one may see.
COUNTS = {("caseload/", "administrator"), ("caseload/", "system")}
# In an emergency every child of the organization is there.
BY_DESIGN = {"POST emergency-accesses/", "POST emergency-accesses/<uuid:id>/choose/"}
# Rows of these are everybody's at work.
EVERYBODYS = {
    "contracted-hours",
    "credentials",
    "me",
    "note-templates",
    "organization",
    "reporting-periods",
    "rooms",
    "scales",
    "sites",
    "staff",
} | {
    "staff-roles",
    "successions",
    "supervisions",
}
REACHED = {200, 201, 204, 304, 409, 412, 428}
NAMES = {"Mirela", "Oduya"}


@dataclass(frozen=True)
class Leak:
    """Who learnt of what by which request."""

    act: str
    principal: str
    told: str

    def __str__(self) -> str:
        return f"{self.act} as {self.principal}: {self.told}"


def clinic_with_others() -> Clinic:
    """The clinic of nine, with the people and places with which the rows out of reach go."""
    clinic = make_clinic()
    for name in PRINCIPALS:
        clinic.callers[name]  # all are signed in now: whatever is done later is undone
    beyond.add_shared(clinic)
    return clinic


@contextmanager
def undone(clinic: Clinic) -> Iterator[None]:
    """Nothing of it stays, neither in the database nor in what is known of its rows."""
    known = dict(clinic.raw.rows)
    try:
        with transaction.atomic():
            yield
            transaction.set_rollback(True)
    finally:
        clinic.raw.rows = known


def leaks(clinic: Clinic, method: str, route: str) -> list[Leak]:
    """What anybody learns at this door from rows out of her reach, and what its requests leave of any text."""
    act = f"{method} {route}"
    with undone(clinic):
        asked = ask(clinic, method, route)
        before = {name: hear(clinic.callers[name], method, asked) for name in PRINCIPALS if name not in NO_CLINICIANS}
        schedule = rows_added(clinic, beyond.add_schedule)
        before |= {name: hear(clinic.callers[name], method, asked) for name in NO_CLINICIANS}
        clinical = rows_added(clinic, beyond.add_clinical)
        elsewhere = beyond.add_elsewhere()
        after = {name: hear(clinic.callers[name], method, asked) for name in PRINCIPALS}
        words = {"schedule": words_in(schedule), "clinical": words_in(clinical), "elsewhere": words_in(elsewhere)}
        hidden = set().union(*words.values()) | words_in(clinic.raw.rows) | typed(asked.body) | NAMES
    found = [
        Leak(act, name, "another answer") for name in PRINCIPALS if differs(route, name, before[name], after[name])
    ]
    for name, heard in after.items():
        unseen = words["clinical"] | words["elsewhere"] | (set() if name in NO_CLINICIANS else words["schedule"])
        found += [Leak(act, name, "a word in the answer") for word in unseen if word in str(heard.answer)]
        found += [Leak(act, name, f"a word left behind: {word}") for word in hidden if word in heard.traces]
    return found


def rows_added(clinic: Clinic, add: Any) -> dict[Any, Any]:
    """The rows that this adds to the clinic's."""
    known = set(clinic.raw.rows)
    add(clinic)
    return {name: key for name, key in clinic.raw.rows.items() if name not in known}


def words_in(rows: dict[Any, Any]) -> set[str]:
    """The words of free text in these rows of (table, name)."""
    tables = {table for table, _ in rows if table in beyond.ELSEWHERE}
    return beyond.words_of(tables, rows.values())


def typed(body: Any) -> set[str]:
    """The sentences that were sent."""
    if isinstance(body, dict):
        return set().union(*map(typed, body.values()), set())
    if isinstance(body, list):
        return set().union(*map(typed, body), set())
    return {body} if isinstance(body, str) and len(body) > 11 and " " in body else set()


def differs(route: str, name: str, before: Heard, after: Heard) -> bool:
    return before.answer != after.answer and (route, name) not in COUNTS


def told_from_absent(clinic: Clinic, method: str, route: str) -> list[Leak]:
    """Who is answered otherwise, or by other statements, about a row out of reach than about one that is not there."""
    act = f"{method} {route}"
    found: list[Leak] = []
    with undone(clinic):
        there, absent = there_and_absent(clinic, method, route)
        if there == absent:
            return []
        for name in askers(act):
            one, other = (hear(clinic.callers[name], method, asked) for asked in (there, absent))
            if one.status in REACHED and not route.startswith("cosign-queue/"):
                found.append(Leak(act, name, f"in reach: {one.status}"))
            elif one.answer != (other.status, other.headers, same_ids(other.body, absent, there)):
                found.append(Leak(act, name, "another answer than for what does not exist"))
            elif one.statements != other.statements:
                found.append(Leak(act, name, "other statements than for what does not exist"))
    return found


def is_told_apart(method: str, route: str) -> bool:
    """Whether this door can be asked about a row out of somebody's reach.

    A PUT of what does not exist makes it, so there it is the body that names the row, under NEW.
    """
    return method != "PUT" and route.split("/")[0] not in EVERYBODYS and f"{method} {route}" not in BY_DESIGN


def askers(act: str) -> list[str]:
    """An assistant and a therapist who reach other children, and whoever may not even see the first one's row."""
    letters = dict(zip(PRINCIPALS, EXPECTED[act].split(), strict=True))
    clinicians = [name for name in ("assistant", "elsewhere") if letters[name] not in "13"]
    return clinicians + [name for name, letter in letters.items() if letter in "4x" and name not in clinicians]


def there_and_absent(clinic: Clinic, method: str, route: str) -> tuple[Ask, Ask]:
    """The same request about another child's row, and about one that does not exist."""
    clinic.raw.rows[c.Episode, CHILD] = clinic.raw.add(c.Episode, CHILD, status="active", opened_on=DAY)
    there = ask(clinic, method, route, who=CHILD)
    shared = {(table, CHILD) for table in beyond.SHARED}
    keys = {str(key) for name, key in clinic.raw.rows.items() if name[1] == CHILD and name not in shared} | {there.key}
    absent = there
    for key in keys:
        absent = replace(absent, url=absent.url.replace(key, other := new_id()), body=swapped(absent.body, key, other))
    return there, absent


def swapped(body: Any, key: str, other: str) -> Any:
    if isinstance(body, dict):
        return {name: swapped(value, key, other) for name, value in body.items()}
    if isinstance(body, list):
        return [swapped(value, key, other) for value in body]
    return other if body == key else body


def same_ids(answer: bytes, absent: Ask, there: Ask) -> bytes:
    """An answer that repeats the ids of what was asked, with the other request's."""
    for given, other in zip(ids_in(absent.body), ids_in(there.body), strict=True):
        answer = answer.replace(given.encode(), other.encode())
    return answer


def ids_in(body: Any) -> list[str]:
    if isinstance(body, dict):
        return [found for value in body.values() for found in ids_in(value)]
    if isinstance(body, list):
        return [found for value in body for found in ids_in(value)]
    return [body] if isinstance(body, str) and len(body) == 36 else []
