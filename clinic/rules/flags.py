"""What is flagged about a signed version: a finding, which come first, and what is said of one without a sentence."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from clinic.enums import FlagSeverity

WITHHELD = frozenset({"passages"})
"""Facts about another document, which only its readers are told."""

MOST_SEVERE_FIRST = (FlagSeverity.WARNING, FlagSeverity.NOTICE)


@dataclass(frozen=True)
class Flag:
    """Something that the reader of a version should see first; `subject` tells several of one check apart."""

    check: str
    severity: FlagSeverity
    facts: dict[str, Any]
    subject: str = ""
    sentence: str = ""
    refers_to: UUID | None = None


def told_facts(facts: dict[str, Any], *, readable: bool) -> dict[str, Any]:
    """A flag's facts as they are told to somebody who may, or may not, read the document that it speaks of."""
    return facts if readable else {name: fact for name, fact in facts.items() if name not in WITHHELD}


def in_words(check: str) -> str:
    """A check's name as a reader would say it."""
    return check.replace("_", " ")
