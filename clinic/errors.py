"""Refusals of the domain: a stable code, the status it answers with, a sentence, and facts."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django.db import IntegrityError


class DomainError(Exception):
    """A refusal that a client can act on. Subclasses set `status`, `code` and `title`."""

    status = 409
    code = "conflict"
    title = "The present state does not allow this"

    def __init__(
        self, detail: str | None = None, *, code: str | None = None, pointer: str | None = None, **facts: Any
    ) -> None:
        super().__init__(detail or self.title)
        self.detail = detail or self.title
        self.code = code or self.code
        self.facts = facts
        self.errors: list[dict[str, str]] = []
        if pointer is not None:
            self.errors.append({"pointer": pointer, "code": self.code, "detail": self.detail})


class Conflict(DomainError):
    """The present state of the record forbids it (409)."""


class RuleForbids(DomainError):
    """The request is well formed, but a rule says no (422)."""

    status = 422
    code = "rule_forbids"
    title = "A rule forbids this"


class InvalidField(DomainError):
    """One member of the request is wrong in a way that only the record can tell (422, with a pointer)."""

    status = 422
    code = "invalid"
    title = "A member of the request is not acceptable"

    def __init__(self, pointer: str, detail: str, *, code: str = "invalid") -> None:
        super().__init__(detail, code="invalid_content")
        self.errors = [{"pointer": pointer, "code": code, "detail": detail}]


class NotAllowed(DomainError):
    """In reach, but not hers to do (403)."""

    status = 403
    code = "not_allowed"
    title = "Not allowed"


class NotFound(DomainError):
    """Not there, or out of reach: the two answer alike (404)."""

    status = 404
    code = "not_found"
    title = "Not found"


class Locked(DomainError):
    """Too many misses: wait (429, with Retry-After)."""

    status = 429
    code = "pin_locked"
    title = "The signing PIN is locked"


class PreconditionFailed(DomainError):
    """The representation has changed since it was fetched (412)."""

    status = 412
    code = "precondition_failed"
    title = "The record has changed since you fetched it"


class PreconditionRequired(DomainError):
    """A change must say which version it changes (428)."""

    status = 428
    code = "precondition_required"
    title = "Send If-Match with the ETag of the version you are changing"


def constraint_of(exc: IntegrityError) -> str:
    """The name of the constraint by which the database refused."""
    return getattr(getattr(exc.__cause__, "diag", None), "constraint_name", None) or ""


@contextmanager
def constraint_as_error(errors: Mapping[str, DomainError | type[DomainError]]) -> Iterator[None]:
    """Turn the database's refusal, by constraint name, into the domain error it stands for."""
    try:
        yield
    except IntegrityError as exc:
        error = errors.get(constraint_of(exc))
        if error is None:
            raise
        raise (error() if isinstance(error, type) else error) from exc
