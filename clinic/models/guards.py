"""Triggers by which the database itself refuses a change. Nothing in the service can lift one.

The trigger library's own functions obey a session setting that switches them off; these triggers execute
functions of ours (made by the first migration), which know no such setting.
"""

from typing import Any

import pgtrigger
from django.db import models


class _Guard(pgtrigger.Trigger):
    def __init__(self, *, execute: str, when: Any = pgtrigger.Before, **options: Any) -> None:
        self._execute = execute
        super().__init__(func="RETURN NULL;", when=when, **options)

    def render_execute(self, model: type[models.Model]) -> str:
        return self._execute


class SealedSoon(_Guard):
    """Asks for a seal for each row that is added, in the transaction that adds it.

    `key` is the column by which a seal names the row; `told_at` the one in which the service wrote its own clock.
    """

    def __init__(self, *, key: str, told_at: str) -> None:
        self.key, self.told_at = key, told_at
        super().__init__(
            name="sealed_soon",
            operation=pgtrigger.Insert,
            when=pgtrigger.After,
            level=pgtrigger.Statement,
            referencing=pgtrigger.Referencing(new="added"),
            execute=f"ask_for_a_seal('{key}')",
        )


def append_only(*, key: str = "id", told_at: str = "") -> list[pgtrigger.Trigger]:
    """Rows are added; never changed, never taken away; each is sealed within seconds (`clinic.services.seals`)."""
    return [*never_changed(), SealedSoon(key=key, told_at=told_at)]


def never_changed() -> list[pgtrigger.Trigger]:
    """The same without a seal: for the seals themselves."""
    return [
        _Guard(name="never_changed", operation=pgtrigger.Update, execute="refuse_change()"),
        *never_removed(),
    ]


def never_removed() -> list[pgtrigger.Trigger]:
    return [
        _Guard(name="never_removed", operation=pgtrigger.Delete, execute="refuse_change()"),
        _Guard(
            name="never_emptied",
            operation=pgtrigger.Truncate,
            level=pgtrigger.Statement,
            execute="refuse_change()",
        ),
    ]


def only_changes(*columns: str) -> list[pgtrigger.Trigger]:
    """Of a row, nothing but these columns is ever changed, and each of them once, from empty."""
    listed = ", ".join(f"'{column}'" for column in columns)
    return [
        _Guard(name="set_once", operation=pgtrigger.Update, execute=f"refuse_change_except({listed})"),
        *never_removed(),
    ]


def never_leaves(column: str, value: str) -> list[pgtrigger.Trigger]:
    """A row that once says this in this column says so for ever."""
    leaves = pgtrigger.Q(**{f"old__{column}": value}) & ~pgtrigger.Q(**{f"new__{column}": value})
    return [_Guard(name="word_stays", operation=pgtrigger.Update, condition=leaves, execute="refuse_change()")]


def fixed(*columns: str) -> list[pgtrigger.Trigger]:
    """These columns of a row, and its id, never change; the row stays."""
    listed = ", ".join(f"'{column}'" for column in ("id", *columns))
    return [
        _Guard(name="identity_fixed", operation=pgtrigger.Update, execute=f"refuse_change_of({listed})"),
        *never_removed(),
    ]
