"""Who may say of a document that it should not stand in the record."""

from collections.abc import Collection
from uuid import UUID

from clinic.enums import Role


def may_say_in_error(*, signed_before: bool, author_id: UUID, by_id: UUID, roles: Collection[Role]) -> bool:
    """A therapist may, of whatever she reaches; its author may before she first signs it."""
    own_draft = author_id == by_id and not signed_before
    return own_draft or Role.THERAPIST in roles
