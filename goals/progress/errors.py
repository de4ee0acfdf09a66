"""Refusals of the progress rules; each says what, where in the input, and why."""

LONGEST_TOKEN = 100


class ProgressError(ValueError):
    """Input that no finding may rest on: a public code, a JSON pointer into the input, a plain sentence."""

    def __init__(self, code: str, *, pointer: str = "", detail: str) -> None:
        super().__init__(f"{pointer or '/'}: {detail}")
        self.code = code
        self.pointer = pointer
        self.detail = detail


class ImpossibleMeasurement(ProgressError):
    """A measurement whose raw numbers cannot be true, or do not fit the goal's measure."""


class BadDefinition(ProgressError):
    """A measure, clause, criterion or phase that says something impossible or unclear."""


class BadSeries(ProgressError):
    """Arrays that a statistic cannot take: infinite, too large, or of shapes that do not fit."""


def escaped(member: object) -> str:
    """A member's name, cut short where absurd, as a token of a JSON pointer (RFC 6901)."""
    token = str(member)[:LONGEST_TOKEN].encode("utf-8", "backslashreplace").decode()
    return token.replace("~", "~0").replace("/", "~1")
