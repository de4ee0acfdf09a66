"""Triggers by which the database itself refuses a change. Nothing in the service can lift one.

The trigger library's own functions obey a session setting that switches them off; these triggers execute
functions of ours (made by the first migration), which know no such setting.
"""

from typing import Any

import pgtrigger
from django.db import models


class _Guard(pgtrigger.Trigger):
    def __init__(self, *, execute: str, **options: Any) -> None:
        self._execute = execute
        super().__init__(func="RETURN NULL;", when=pgtrigger.Before, **options)

    def render_execute(self, model: type[models.Model]) -> str:
        return self._execute


def append_only() -> list[pgtrigger.Trigger]:
    """Rows are added; never changed, never taken away."""
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


def fixed(*columns: str) -> list[pgtrigger.Trigger]:
    """These columns of a row, and its id, never change; the row stays."""
    listed = ", ".join(f"'{column}'" for column in ("id", *columns))
    return [
        _Guard(name="identity_fixed", operation=pgtrigger.Update, execute=f"refuse_change_of({listed})"),
        *never_removed(),
    ]
