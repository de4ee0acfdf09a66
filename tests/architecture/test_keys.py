"""Every key between two tables of organizations carries the organization along, and no key is blind to a NULL."""

from collections.abc import Iterator

import pytest
from django.db import models

from tests.architecture.database import constraints_of
from tests.architecture.world import every_model, is_scoped, run

pytestmark = pytest.mark.django_db

KEYS = [
    (model, field)
    for model in every_model()
    for field in model._meta.concrete_fields
    if isinstance(field, models.ForeignKey) and field.column != "organization_id"
]
BETWEEN = [(m, f) for m, f in KEYS if is_scoped(m) and is_scoped(f.related_model)]
TO_NOBODYS = [(m, f) for m, f in KEYS if not (is_scoped(m) and is_scoped(f.related_model))]
CHILD_OF = """
SELECT c.conname, c.confrelid::regclass::text,
       ARRAY(SELECT a.attname::text FROM unnest(c.conkey) WITH ORDINALITY k(n, at)
             JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = k.n ORDER BY k.at),
       ARRAY(SELECT a.attname::text FROM unnest(c.confkey) WITH ORDINALITY k(n, at)
             JOIN pg_attribute a ON a.attrelid = c.confrelid AND a.attnum = k.n ORDER BY k.at)
FROM pg_constraint c WHERE c.contype = 'f' AND c.conrelid = %s::regclass
"""
EMPTY_ABLE = """
SELECT a.attname::text, pg_get_expr(d.adbin, d.adrelid) FROM pg_attribute a
LEFT JOIN pg_attrdef d ON d.adrelid = a.attrelid AND d.adnum = a.attnum AND a.attgenerated <> ''
WHERE a.attrelid = %s::regclass AND a.attnum > 0 AND NOT a.attisdropped AND NOT a.attnotnull
"""


def labelled(found: list) -> list:
    return [pytest.param(model, field, id=f"{model._meta.label}.{field.name}") for model, field in found]


def keys_through(model: type[models.Model], column: str) -> dict[str, tuple[str, list[str], list[str]]]:
    found = {name: (parent, mine, theirs) for name, parent, mine, theirs in run(CHILD_OF, [model._meta.db_table])}
    return {name: key for name, key in found.items() if column in key[1]}


def simple_keys() -> list[str]:
    """Keys between two tables of organizations that do not carry the organization along."""
    scoped = {model._meta.db_table for model in every_model() if is_scoped(model)}
    return [
        f"{table}.{name}"
        for table in sorted(scoped)
        for name, parent, mine, theirs in run(CHILD_OF, [table])
        if parent in scoped and (mine[0] != "organization_id" or theirs[:1] != ["organization_id"])
    ]


@pytest.mark.parametrize(("model", "field"), labelled(BETWEEN))
def test_a_key_carries_its_organization(model, field):
    """(organization_id, x_id) points to (organization_id, id) of the table that the model names."""
    keys = keys_through(model, field.column).values()
    parent = field.related_model._meta
    plain = (parent.db_table, ["organization_id", field.column], ["organization_id", parent.pk.column])
    assert plain in keys
    assert all(mine[0] == theirs[0] == "organization_id" for _, mine, theirs in keys)


@pytest.mark.parametrize(("model", "field"), labelled(TO_NOBODYS))
def test_a_key_to_what_is_nobodys_is_there(model, field):
    """Where a side belongs to no organization, the plain key stands."""
    parent = field.related_model._meta
    assert (parent.db_table, [field.column], [parent.pk.column]) in keys_through(model, field.column).values()


def test_no_simple_key_is_left():
    """Between tables of organizations no key is without the organization."""
    assert simple_keys() == []


def test_a_planted_simple_key_is_reported():
    """The control: a key that forgets the organization is found."""
    run(
        "ALTER TABLE clinic_room ADD CONSTRAINT planted FOREIGN KEY (site_id) REFERENCES clinic_site (id) NOT VALID",
    )
    assert simple_keys() == ["clinic_room.planted"]
    assert unvalidated() == ["planted"]


def key_columns(model: type[models.Model]) -> set[str]:
    return {field.column for mine, field in BETWEEN if mine is model}


OF_BOTH = [
    model
    for model in every_model()
    # The feed takes both from the row that it tells of, which has the key.
    if {"episode_id", "client_id"} <= key_columns(model) and model._meta.label != "clinic.ChangeFeed"
]


@pytest.mark.parametrize("model", OF_BOTH, ids=lambda model: model._meta.label)
def test_a_row_of_a_child_and_an_episode_is_of_that_childs_episode(model):
    """Where both are named one key holds them together, else a row could show one child's episode to another's team."""
    agreeing = {"organization_id", "episode_id", "client_id"}
    assert agreeing in [set(mine) for _, mine, _ in keys_through(model, "episode_id").values()]


def unvalidated() -> list[str]:
    return [kept.name for model in every_model() for kept in constraints_of(model).values() if not kept.validated]


def test_every_constraint_was_checked_against_its_rows():
    """None was added without looking at the rows that were there."""
    assert unvalidated() == []


@pytest.mark.parametrize(
    "model", [m for m in every_model() if is_scoped(m) and m._meta.pk.column == "id"], ids=lambda m: m._meta.label
)
def test_a_row_can_be_pointed_to_with_its_organization(model):
    """UNIQUE (organization_id, id) stands on every table of organizations that has an id."""
    assert {"organization_id", "id"} in [kept.columns for kept in constraints_of(model).values() if kept.kind == "u"]


def blind_keys(model: type[models.Model]) -> Iterator[str]:
    """Keys over several columns of which one may be NULL, so that two rows alike would not conflict."""
    empty_able = {
        name
        for name, made_of in run(EMPTY_ABLE, [model._meta.db_table])
        if not (made_of and made_of.startswith("COALESCE(") and made_of.rstrip(")").endswith("organization_id"))
    }
    for kept in constraints_of(model).values():
        if kept.kind not in "uix" or (len(kept.columns) == 1 and kept.kind != "x"):
            continue
        for column in kept.columns & empty_able:
            if f"{column} IS NOT NULL" not in kept.definition and not (kept.kind == "x" and column == "ends_on"):
                yield f"{kept.name}: {column}"


@pytest.mark.parametrize("model", every_model(), ids=lambda model: model._meta.label)
def test_no_key_is_blind_to_a_null(model):
    """A column of a unique or exclusion key is NOT NULL, or the key's condition asks that it be filled."""
    assert list(blind_keys(model)) == []


def test_a_planted_blind_key_is_reported():
    """The control: a unique key over a column that may be empty is found."""
    run("CREATE UNIQUE INDEX planted ON scheduling_booking (visit_id, room_id)")
    booking = next(model for model in every_model() if model._meta.label == "scheduling.Booking")
    assert list(blind_keys(booking)) == ["planted: room_id"]
