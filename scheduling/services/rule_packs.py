"""Brings the table of rules to the packs that are shipped."""

from collections.abc import Iterator
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

from django.db import transaction

from scheduling.deadlines.packs import Pack, read_pack
from scheduling.models import DeadlineRule


@cache
def shipped() -> tuple[Pack, ...]:
    """The packs of the package, in order of their names. Raises BadPack for one that says no rule."""
    found = sorted((one for one in files("scheduling.packs").iterdir() if one.name.endswith(".toml")), key=str)
    return tuple(read_pack(one.read_text(encoding="utf-8"), file=one.name) for one in found)


@transaction.atomic
def load(*, packs: tuple[Pack, ...], now: datetime) -> int:
    """Write down each rule that is new or says something else than before; how many there were. Twice adds none."""
    known = {(row.pack, row.code, row.effective_from): row for row in DeadlineRule.objects.all()}
    changed = [
        _row(known.get(key), key, said, now)
        for key, said in _said(packs)
        if key not in known or any(getattr(known[key], name) != value for name, value in said.items())
    ]
    for row in changed:
        row.save()
    return len(changed)


def _said(packs: tuple[Pack, ...]) -> Iterator[tuple[tuple[Any, ...], dict[str, Any]]]:
    """Each rule's key, and what its row says."""
    for pack in packs:
        for rule, definition in zip(pack.rules, pack.definitions, strict=True):
            yield (
                (pack.name, rule.rule.code, rule.effective_from),
                {
                    "title": rule.title,
                    "settings": sorted(pack.settings),
                    "effective_until": rule.effective_until,
                    "definition": definition,
                    "source": rule.source,
                    "version_seen": rule.version_seen,
                    "caution": pack.caution,
                },
            )


def _row(row: DeadlineRule | None, key: tuple[Any, ...], said: dict[str, Any], now: datetime) -> DeadlineRule:
    pack, code, effective_from = key
    row = row or DeadlineRule(pack=pack, code=code, effective_from=effective_from)
    for name, value in {**said, "loaded_at": now}.items():
        setattr(row, name, value)
    return row
