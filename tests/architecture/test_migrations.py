"""Migrations do the same to a database that has been in use as to the empty one that the tests migrate."""

from collections.abc import Iterable, Iterator
from typing import Any

import pytest
from django.db import migrations, models
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations.fields import FieldOperation

APPS = ("clinic", "goals", "scheduling")
SCOPE = "scope_foreign_keys()"


def migrations_of(app: str) -> list[migrations.Migration]:
    disk = MigrationLoader(None).disk_migrations
    return [disk[key] for key in sorted(disk) if key[0] == app]


def keys_added(operation: Any) -> Iterator[str]:
    """The keys to other rows that it makes, beside the one that says whose the row is."""
    for table, name, field in fields_of(operation):
        if isinstance(field, models.ForeignKey) and name != "organization":
            yield f"{table}.{name}"


def fields_of(operation: Any) -> Iterator[tuple[str, str, models.Field]]:
    if isinstance(operation, migrations.CreateModel):
        yield from ((operation.name, name, field) for name, field in operation.fields)
    elif isinstance(operation, FieldOperation) and operation.field is not None:
        yield operation.model_name, operation.name, operation.field


def scopes(operation: Any) -> bool:
    return isinstance(operation, migrations.RunSQL) and SCOPE in str(operation.sql)


def left_simple(found: Iterable[migrations.Migration]) -> list[str]:
    """Keys that nothing later in the same app gives their organization; a new table's are made last of all."""
    waiting: list[str] = []
    for migration in found:
        at_the_end: list[str] = []
        for operation in migration.operations:
            if scopes(operation):
                waiting = []
            kept = at_the_end if isinstance(operation, migrations.CreateModel) else waiting
            kept += keys_added(operation)
        waiting += at_the_end
    return waiting


@pytest.mark.parametrize("app", APPS)
def test_an_app_scopes_the_keys_that_it_adds(app):
    """Another app's migration does it by the way on an empty database; in use, that one has long been applied.

    Nor can the migration that makes a table do it: the table's keys are made after its last operation.
    """
    assert left_simple(migrations_of(app)) == []


def planted(name: str, *operations: Any) -> migrations.Migration:
    made = migrations.Migration(name, "clinic")
    made.operations = list(operations)
    return made


def test_a_key_left_simple_would_be_seen():
    """The control: a new table's key scoped in the same migration, and a new column's that is not scoped, are named."""
    key = models.ForeignKey("clinic.Site", on_delete=models.PROTECT)
    table = migrations.CreateModel("Outing", [("id", models.UUIDField(primary_key=True)), ("site", key)])
    column = migrations.AddField("Room", "site", key)
    scope = migrations.RunSQL(f"SELECT {SCOPE}")
    assert left_simple([planted("0003_outing", table, scope)]) == ["Outing.site"]
    assert left_simple([planted("0003_outing", table), planted("0004_keys", scope)]) == []
    assert left_simple([planted("0003_room", scope, column)]) == ["Room.site"]
    assert left_simple([planted("0003_room", column, scope)]) == []
