"""The shape of an attempt, and the spans of days and hours that many of them use."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.db import models

from tests.architecture.world import DAY, World

Changes = Callable[[World], dict[str, Any]]
YESTERDAY, TOMORROW = DAY - timedelta(days=1), DAY + timedelta(days=1)
BACKWARDS = {"starts_on": DAY, "ends_on": YESTERDAY}


@dataclass(frozen=True)
class Attempt:
    """A row that the constraint `name` refuses: `why` in the domain's words, its columns, what stands there before.

    `beside` names other constraints that refuse the same row; `change` makes it an UPDATE of the world's row.
    """

    name: str
    model: type[models.Model]
    why: str
    columns: Changes
    before: Callable[[World], Any] = field(default=lambda w: None)
    beside: tuple[str, ...] = ()
    change: bool = False

    def __str__(self) -> str:
        return f"{self.name}: {self.why}"


def with_columns(**columns: Any) -> Changes:
    return lambda w: columns


def there_is(model: type[models.Model], **columns: Any) -> Callable[[World], Any]:
    return lambda w: w.add(model, **columns)
