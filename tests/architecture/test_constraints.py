"""Every constraint of every table: attempted by raw SQL, refused by its name, and passed once it is taken away."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import pytest
from django.db import models
from uuid_utils.compat import uuid7

from clinic.models import Organization
from tests.architecture.attempts import ATTEMPTS, COMPANY, TOUCHING
from tests.architecture.attempts.attempt import Attempt
from tests.architecture.database import Kept, at_once, constraints_of, refused_by, take_away
from tests.architecture.world import World, attnames, every_model, insert, is_scoped, update

pytestmark = pytest.mark.django_db

BY_HAND = {attempt.name for attempt in ATTEMPTS}
SMALLEST = (models.PositiveIntegerField, models.PositiveSmallIntegerField, models.PositiveBigIntegerField)


def lists_of_words() -> Iterator[tuple[type[models.Model], str, str]]:
    """Each constraint that holds a column to a list of words (clinic.models.base.one_of)."""
    for model in every_model():
        for constraint in model._meta.constraints:
            if isinstance(constraint, models.CheckConstraint) and constraint.name not in BY_HAND:
                lookups = [name for name, _ in leaves(constraint.condition) if name.endswith("__in")]
                yield model, constraint.name, lookups[0].removesuffix("__in") if len(lookups) == 1 else ""


def leaves(condition: models.Q) -> Iterator[tuple[str, Any]]:
    for child in condition.children:
        yield from leaves(child) if isinstance(child, models.Q) else [child]


def columns_of(*kinds: type[models.Field]) -> list[tuple[type[models.Model], Any]]:
    return [
        (model, field) for model in every_model() for field in model._meta.concrete_fields if isinstance(field, kinds)
    ]


def named(found: list[tuple[type[models.Model], Any]]) -> list[Any]:
    return [pytest.param(model, field, id=f"{model._meta.label}.{field.name}") for model, field in found]


def company_of(model: type[models.Model], field: models.Field) -> dict[str, Any]:
    return COMPANY.get((model._meta.label, field.name), {})


def nobodys_key(model: type[models.Model]) -> Any:
    """A key that no row of the table has."""
    return uuid7() if isinstance(model._meta.pk, models.UUIDField) else 2**40


def alone(model: type[models.Model], name: str, changed: set[str]) -> None:
    """Take away whatever else speaks of the changed columns, so that only this constraint can refuse."""
    beside = [kept for kept in constraints_of(model).values() if kept.name != name and kept.columns & changed]
    for kept in beside:
        if kept.kind != "p" and kept.name in constraints_of(model):
            take_away(model, kept.name)


def one_named(found: list[Kept]) -> str:
    assert len(found) == 1, f"one constraint expected, found {found}"
    return found[0].name


def prepared(attempt: Attempt, w: World) -> Callable[[], Any]:
    """The attempt's one statement; what it rests on is there already."""
    columns = attempt.columns(w)
    if attempt.change:
        return partial(update, attempt.model, w.row(attempt.model), **columns)
    return one_more(w, attempt.model, columns)


def one_more(w: World, model: type[models.Model], columns: dict[str, Any]) -> Callable[[], Any]:
    return partial(insert, model, w.columns(model, **columns))


@pytest.mark.parametrize("attempt", ATTEMPTS, ids=str)
def test_an_attempt_is_refused_by_name(attempt: Attempt):
    """The row is refused by the constraint that is there for it, and taken once that is gone."""
    at_once()
    w = World()
    attempt.before(w)
    try_it = prepared(attempt, w)
    assert refused_by(try_it) in {attempt.name, *attempt.beside}
    for name in attempt.beside:
        take_away(attempt.model, name)
    assert refused_by(try_it) == attempt.name
    take_away(attempt.model, attempt.name)
    assert refused_by(try_it) is None


@pytest.mark.parametrize(
    ("model", "first", "second"), [pytest.param(*row, id=f"{row[0]._meta.label} {i}") for i, row in enumerate(TOUCHING)]
)
def test_what_only_touches_is_taken(model, first, second):
    """Periods that follow each other, and rows that differ where it counts, stand beside each other."""
    at_once()
    w = World()
    w.add(model, **(first(w) if callable(first) else first))
    assert refused_by(one_more(w, model, second(w))) is None


@pytest.mark.parametrize(("model", "name", "field"), [pytest.param(*row, id=row[1]) for row in lists_of_words()])
def test_a_word_not_on_its_list_is_refused(model, name, field):
    """A column of words takes no other word, however it is written."""
    assert field, f"no attempt is known for {name}: write one in tests/architecture/attempts/"
    at_once()
    try_it = one_more(World(), model, {field: "no-such-word"})
    alone(model, name, {field})
    assert refused_by(try_it) == name
    take_away(model, name)
    assert refused_by(try_it) is None


@pytest.mark.parametrize(("model", "field"), named(columns_of(*SMALLEST)))
def test_less_than_nothing_is_refused(model, field):
    """A count is never negative."""
    at_once()
    kept = constraints_of(model).values()
    name = one_named([one for one in kept if one.columns == {field.column} and one.name.endswith("_check")])
    try_it = one_more(World(), model, {field.name: -1})
    alone(model, name, {field.column})
    assert refused_by(try_it) == name
    take_away(model, name)
    assert refused_by(try_it) is None


@pytest.mark.parametrize(("model", "field"), named(columns_of(models.ForeignKey)))
def test_a_key_to_another_organizations_row_is_refused(model, field):
    """No row of one organization points to a row of another; a key to what belongs to none must exist."""
    at_once()
    parent = field.related_model
    crossing = is_scoped(model) and is_scoped(parent)
    foreign = World().row(parent) if crossing else nobodys_key(parent)
    try_it = one_more(World(), model, {**company_of(model, field), field.name: foreign})
    kept = constraints_of(model).values()
    wanted = {field.column, "organization_id"} if crossing else {field.column}
    name = one_named([one for one in kept if one.kind == "f" and one.columns == wanted])
    alone(model, name, {field.column})
    assert refused_by(try_it) == name
    take_away(model, name)
    assert refused_by(try_it) is None


@pytest.mark.parametrize(
    ("model", "field"),
    named([(m, f) for m, f in columns_of(models.Field) if f.unique and (f.is_relation or not f.primary_key)]),
)
def test_what_is_there_once_is_not_there_twice(model, field):
    """A column that names its row names no other."""
    at_once()
    w = World()
    company = attnames(model, company_of(model, field))
    value = w.row(field.related_model) if field.is_relation else "the same"
    first, second = ({**w.columns(model, who), **company, field.attname: value} for who in ("first", "second"))
    try_it = partial(insert, model, second)
    kept = constraints_of(model).values()
    name = one_named([one for one in kept if one.kind in "pui" and one.columns == {field.column}])
    for other in constraints_of(model).values():
        if other.kind == "f":
            take_away(model, other.name)
    insert(model, first)
    assert refused_by(try_it) == name
    take_away(model, name)
    assert refused_by(try_it) is None


def attempted_by_construction(model: type[models.Model], kept: Kept) -> bool:
    """Is it one of the kinds that a test above attempts for every column there is?"""
    fields = {field.column: field for field in model._meta.concrete_fields}
    if kept.kind in "pui" and model._meta.pk.column in kept.columns:
        return True  # there to be pointed to: the primary key says more
    if kept.kind in "ui" and len(kept.columns) == 1:
        return fields[next(iter(kept.columns))].unique
    if kept.kind == "f":
        return len(kept.columns - {"organization_id"}) <= 1
    by_word = {name for _, name, _ in lists_of_words()}
    return kept.kind == "c" and (kept.name in by_word or any(kept.name.endswith(f"_{c}_check") for c in kept.columns))


@pytest.mark.parametrize("model", every_model(), ids=lambda model: model._meta.label)
def test_no_constraint_goes_unattempted(model):
    """Whatever the database holds against a row is attempted somewhere in this file."""
    unattempted = {
        kept.name
        for kept in constraints_of(model).values()
        if kept.name not in BY_HAND and not attempted_by_construction(model, kept)
    }
    assert unattempted == set()


def test_every_attempt_names_a_constraint_that_stands():
    """An attempt whose constraint was renamed or lost is found out here first."""
    standing = {name for model in every_model() for name in constraints_of(model)}
    assert BY_HAND - standing == set()


def test_every_table_is_of_an_organization_or_says_why_not():
    """These belong to nobody; every other row says whose it is."""
    nobodys = {model._meta.label for model in every_model() if not is_scoped(model)}
    seals = {"clinic.Seal", "clinic.SealEntry", "clinic.Unsealed"}
    shared = {"clinic.DiagnosisCode", "scheduling.DeadlineRule"}
    assert nobodys == {Organization._meta.label, "clinic.User", "clinic.AccountEvent", *shared, *seals}
