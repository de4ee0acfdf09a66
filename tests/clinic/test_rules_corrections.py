"""Who may say of a document that it should not stand in the record."""

from uuid import UUID

import pytest

from clinic.enums import Role
from clinic.rules.corrections import may_say_in_error

AUTHOR, OTHER = UUID(int=1), UUID(int=2)


@pytest.mark.parametrize(
    ("signed_before", "by", "role", "may"),
    [
        pytest.param(True, OTHER, Role.THERAPIST, True, id="a therapist of what another signed"),
        pytest.param(True, AUTHOR, Role.THERAPIST, True, id="a therapist of her own"),
        pytest.param(False, OTHER, Role.THERAPIST, True, id="a therapist of another's draft"),
        pytest.param(False, AUTHOR, Role.ASSISTANT, True, id="an assistant of her draft"),
        pytest.param(False, OTHER, Role.ASSISTANT, False, id="an assistant of another's draft"),
        pytest.param(True, AUTHOR, Role.ASSISTANT, False, id="an assistant of what she signed"),
    ],
)
def test_who_may_say_it(signed_before, by, role, may):
    """A therapist may; an assistant only of what she wrote and never signed."""
    assert may_say_in_error(signed_before=signed_before, author_id=AUTHOR, by_id=by, roles={role}) is may
