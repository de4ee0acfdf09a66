"""How an organization begins: its own row, a first site, its first administrator; and how people get a login."""

from datetime import date
from uuid import UUID

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from clinic.enums import Role
from clinic.errors import Conflict, InvalidField, constraint_as_error
from clinic.models import Organization, Site, Staff, StaffRole, User


class LoginTaken(Conflict):
    code = "login_taken"
    title = "Somebody has this user name already"


@transaction.atomic
def begin_organization(
    *,
    organization_id: UUID,
    name: str,
    time_zone: str,
    country: str,
    subdivision: str,
    administrator: str,
    username: str,
    password: str,
    today: date,
) -> Staff:
    """An organization with one site of its name and zone, and the administrator who does the rest through the API."""
    organization = Organization.objects.create(
        pk=organization_id, name=name, time_zone=time_zone, country=country, subdivision=subdivision
    )
    Site.objects.create(
        organization=organization, name=name, time_zone=time_zone, country=country, subdivision=subdivision
    )
    staff = Staff.objects.create(organization=organization, printed_name=administrator, joined_on=today)
    StaffRole.objects.create(organization=organization, staff=staff, role=Role.ADMINISTRATOR.value, starts_on=today)
    give_login(staff_id=staff.pk, username=username, password=password)
    return staff


@transaction.atomic
def give_login(*, staff_id: UUID, username: str, password: str) -> None:
    """A login for a person at work; a weak password and a taken name are refused."""
    try:
        validate_password(password, User(username=username))
    except ValidationError as exc:
        raise InvalidField("/password", " ".join(exc.messages), code="weak_password") from exc
    with constraint_as_error({"clinic_user_username_key": LoginTaken}):
        user = User.objects.create_user(username=username, password=password)
    Staff.objects.filter(pk=staff_id).update(user=user)
