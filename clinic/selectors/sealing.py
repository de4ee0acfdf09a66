"""Which tables are sealed, and what of a row its seal stands for. The models say so: a new table is found by itself."""

import json
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.apps import apps
from django.db import connection, models

from clinic.models.guards import SealedSoon

# The text of a row depends on these; whoever hashes one sets them first.
SPELLING = """
SET LOCAL TimeZone = 'UTC'; SET LOCAL bytea_output = 'hex'; SET LOCAL extra_float_digits = 1"""


@dataclass(frozen=True)
class SealedTable:
    """A table whose rows are sealed, in words of SQL over one of its rows under the name t."""

    model: type[models.Model]
    trigger: SealedSoon

    @property
    def kind(self) -> str:
        return self.model._meta.db_table

    @property
    def key(self) -> str:
        """The row's name in the seals, a uuid."""
        return f'seal_key(t."{self.trigger.key}")'

    @cached_property
    def leaf(self) -> str:
        """The leaf hash of RFC 6962 over the table's name and the row as JSON.

        A column that is empty, or as its table fills it by itself, stays out: so a column that is added later, which
        on rows of before is either, changes no leaf, and once it is filled in, it does.
        """
        gone = ", ".join(filter(None, (self._left_out(field) for field in self.model._meta.concrete_fields)))
        row = f"(to_jsonb(t) - array_remove(ARRAY[{gone}]::text[], NULL))::text"
        return f"sha256('\\x00'::bytea || convert_to('{self.kind}' || chr(10) || {row}, 'UTF8'))"

    def _left_out(self, field: Any) -> str:
        if field.generated:
            return _quoted(field.column)
        if field.null:
            return f"""CASE WHEN t."{field.column}" IS NULL THEN {_quoted(field.column)} END"""
        filled = getattr(field.db_default, "value", field.db_default)
        if filled is models.NOT_PROVIDED or isinstance(filled, models.Expression):
            return ""
        same = f"""to_jsonb(t."{field.column}") = {_quoted(json.dumps(filled))}::jsonb"""
        return f"CASE WHEN {same} THEN {_quoted(field.column)} END"


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def sealed_tables() -> dict[str, SealedTable]:
    """Each table that asks for seals, under its name."""
    found = {}
    for model in apps.get_models():
        for trigger in getattr(model._meta, "triggers", None) or []:
            if isinstance(trigger, SealedSoon):
                found[model._meta.db_table] = SealedTable(model, trigger)
    return found


def spell_alike() -> None:
    """Make this transaction's text of a row the same on every server and in every session."""
    with connection.cursor() as cursor:
        cursor.execute(SPELLING)
