"""What the database holds against a row: its constraints by name, taking one away, and who refuses an attempt."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.db import DatabaseError, models, transaction

from tests.architecture.world import run

# Partial unique keys are indexes without a constraint; to the person who is refused they are the same.
KEPT = """
SELECT c.conname, c.contype::text, c.condeferrable, c.convalidated, pg_get_constraintdef(c.oid),
       ARRAY(SELECT a.attname::text FROM unnest(c.conkey) k
             JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = k)
FROM pg_constraint c WHERE c.conrelid = %s::regclass AND c.contype IN ('c', 'f', 'p', 'u', 'x')
UNION ALL
SELECT i.relname, 'i', false, true, pg_get_indexdef(x.indexrelid),
       ARRAY(SELECT a.attname::text FROM unnest(x.indkey) k
             JOIN pg_attribute a ON a.attrelid = x.indrelid AND a.attnum = k)
FROM pg_index x JOIN pg_class i ON i.oid = x.indexrelid
WHERE x.indrelid = %s::regclass AND x.indisunique
  AND NOT EXISTS (SELECT 1 FROM pg_constraint c WHERE c.conindid = x.indexrelid AND c.conrelid = x.indrelid)
ORDER BY 1
"""


@dataclass(frozen=True)
class Kept:
    """One constraint of one table."""

    name: str
    kind: str  # c check, f foreign key, p primary key, u unique, x exclusion, i unique index
    deferrable: bool
    validated: bool
    definition: str
    columns: frozenset[str]


def constraints_of(model: type[models.Model]) -> dict[str, Kept]:
    table = model._meta.db_table
    return {row[0]: Kept(*row[:5], frozenset(row[5])) for row in run(KEPT, [table, table])}


def take_away(model: type[models.Model], name: str) -> None:
    """Drop the constraint, in the test's own transaction."""
    if constraints_of(model)[name].kind == "i":
        run(f'DROP INDEX "{name}"')
    else:
        run(f'ALTER TABLE {model._meta.db_table} DROP CONSTRAINT "{name}" CASCADE')


def refused_by(attempt: Callable[[], Any]) -> str | None:
    """The name of what refuses the attempt, or None when it passes. Nothing of it stays."""
    try:
        with transaction.atomic():
            attempt()
            transaction.set_rollback(True)
    except DatabaseError as exc:
        return getattr(getattr(exc.__cause__, "diag", None), "constraint_name", None) or repr(exc)
    return None


def at_once() -> None:
    """Judge deferred keys at each statement, so that an attempt is refused where it is made."""
    run("SET CONSTRAINTS ALL IMMEDIATE")


def sql(statement: str, *values: Any) -> Callable[[], Any]:
    return partial(run, statement, list(values))
