"""Trials of one kind side by side: what was counted, with how much help, on which side, exemplar or step."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import groupby
from typing import Any

from goals.enums import AssistanceLevel, Censored, PromptKind
from goals.progress.decimals import written

ASSISTANCE_RANK = {level: rank for rank, level in enumerate(AssistanceLevel)}
PROMPT_RANK = {kind: rank for rank, kind in enumerate(PromptKind)}


@dataclass(frozen=True, kw_only=True, slots=True)
class Cell:
    """`n` trials in a row that were alike; a tallied cell has neither success nor value: the cap decides."""

    n: int = 1
    success: bool | None = None
    value: Decimal | None = None
    censored: Censored | None = None
    stratum: str | None = None
    assistance: AssistanceLevel | None = None
    prompt: PromptKind | None = None

    @property
    def tallied(self) -> bool:
        """Whether only the level was counted, so that the clause's cap says what a success is."""
        return self.success is None and self.value is None


def gathered(trials: Iterable[Cell]) -> tuple[Cell, ...]:
    """Neighbours that are alike as one cell, in the order they were seen."""
    alike = groupby(trials, key=lambda cell: replace(cell, n=1))
    return tuple(replace(cell, n=sum(each.n for each in run)) for cell, run in alike)


def to_parts(cell: Cell) -> dict[str, Any]:
    """A cell as strings, integers and booleans, with what is absent left out."""
    plain: dict[str, Any] = {"n": cell.n}
    if cell.success is not None:
        plain["success"] = cell.success
    if cell.value is not None:
        plain["value"] = written(cell.value)
    for name in ("censored", "stratum", "assistance", "prompt"):
        if (word := getattr(cell, name)) is not None:
            plain[name] = str(word)
    return plain


def from_parts(plain: Mapping[str, Any]) -> Cell:
    """The cell that `to_parts` wrote."""
    return Cell(
        n=plain["n"],
        success=plain.get("success"),
        value=Decimal(plain["value"]) if "value" in plain else None,
        censored=Censored(plain["censored"]) if "censored" in plain else None,
        stratum=plain.get("stratum"),
        assistance=AssistanceLevel(plain["assistance"]) if "assistance" in plain else None,
        prompt=PromptKind(plain["prompt"]) if "prompt" in plain else None,
    )


def most_help(cells: Iterable[Cell]) -> AssistanceLevel | None:
    """The most physical help that any of these trials had, where it was written down."""
    levels = [cell.assistance for cell in cells if cell.assistance is not None]
    return max(levels, key=ASSISTANCE_RANK.__getitem__, default=None)


def within_caps(cell: Cell, *, most_assistance: AssistanceLevel | None, most_prompting: PromptKind | None) -> bool:
    """Whether a trial had no more help than the caps allow; help that nobody wrote down is no help."""
    if cell.tallied:
        return _tally_within(cell, most_assistance or AssistanceLevel.MODIFIED_INDEPENDENT, most_prompting)
    return _helped_at_most(cell, most_assistance) and _prompted_at_most(cell, most_prompting)


def _tally_within(cell: Cell, most_assistance: AssistanceLevel, most_prompting: PromptKind | None) -> bool:
    return _helped_at_most(cell, most_assistance) and _prompted_at_most(cell, most_prompting or PromptKind.NONE)


def _helped_at_most(cell: Cell, cap: AssistanceLevel | None) -> bool:
    if cap is None or cell.assistance is None:
        return True
    return ASSISTANCE_RANK[cell.assistance] <= ASSISTANCE_RANK[cap]


def _prompted_at_most(cell: Cell, cap: PromptKind | None) -> bool:
    if cap is None or cell.prompt is None:
        return True
    return PROMPT_RANK[cell.prompt] <= PROMPT_RANK[cap]
