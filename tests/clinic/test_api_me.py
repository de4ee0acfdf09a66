"""Who asks, as the service sees her."""

from datetime import date

import pytest
import time_machine
from rest_framework.test import APIClient

from clinic.enums import Role
from clinic.models import SigningPin, StaffRole
from tests import factories as make

pytestmark = pytest.mark.django_db


def test_a_person_is_told_who_she_is_here_today():
    """Her roles of today only, by the clock of her organization, and no scopes in a browser session."""
    organization = make.make_organization()
    staff = make.make_staff(organization, Role.THERAPIST, Role.ADMINISTRATOR, printed_name="Ruth")
    StaffRole.objects.filter(role="administrator").update(ends_on=date(2025, 12, 31))
    with time_machine.travel("2026-03-04T05:30:00Z", tick=False):
        answer = make.signed_in(staff).get("/api/v1/me/")
    assert answer.json() == {
        "staff": str(staff.pk),
        "printed_name": "Ruth",
        "roles": ["therapist"],
        "organization": {"id": str(organization.pk), "name": "Alder Yard Therapy", "time_zone": "America/Chicago"},
        "today": "2026-03-03",
        "scopes": None,
        "has_pin": False,
    }


def test_whether_she_has_a_pin_is_told_and_nothing_of_it():
    staff = make.make_staff(make.make_organization(), Role.ASSISTANT)
    SigningPin.objects.create(
        staff=staff, organization=staff.organization, hash="secret", changed_at=make.at("2026-03-03 09:00")
    )
    answer = make.signed_in(staff).get("/api/v1/me/")
    assert answer.json()["has_pin"] is True
    assert b"secret" not in answer.content


def test_of_two_places_at_work_one_is_named():
    """By the X-Organization header; without it nobody is meant."""
    first = make.make_staff(make.make_organization(), Role.ASSISTANT)
    second = make.make_staff(make.make_organization(name="Elsewhere"), Role.THERAPIST, user=first.user)
    api = make.signed_in(first)
    assert api.get("/api/v1/me/").status_code == 403
    named = api.get("/api/v1/me/", HTTP_X_ORGANIZATION=str(second.organization_id)).json()
    assert (named["staff"], named["roles"]) == (str(second.pk), ["therapist"])


def test_a_stranger_is_asked_to_sign_in():
    assert APIClient().get("/api/v1/me/").status_code == 401
