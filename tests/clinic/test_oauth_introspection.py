"""Introspection (RFC 7662): an application with a secret learns of its own tokens and of nobody else's."""

import base64

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clinic.services.applications import register_system
from tests import factories as make
from tests.clinic import oauth_flow as flow

pytestmark = pytest.mark.django_db
URL = "/oauth/introspect/"


@pytest.fixture
def organization():
    return make.make_organization()


def a_system(organization, name="Timetable"):
    return register_system(name=name, organization_id=organization.pk, actions=["clients:read"], now=timezone.now())


def token_of(system):
    return flow.system_token(system, "clients:read").json()["access_token"]


def basic(registered):
    given = base64.b64encode(f"{registered.client_id}:{registered.secret}".encode()).decode()
    return {"Authorization": f"Basic {given}"}


def test_an_application_learns_of_its_own_token(organization):
    """Section 2.2: active, with its scope and for whom it was issued."""
    system = a_system(organization)
    answer = Browser().post(URL, {"token": token_of(system)}, headers=basic(system))
    assert answer.status_code == 200
    told = answer.json()
    assert (told["active"], told["scope"], told["client_id"]) == (True, "clients:read", system.client_id)


def test_another_applications_token_is_told_as_none(organization):
    """Section 4: what it is not to know of answers `active: false` and nothing more, as a made-up one does."""
    system, other = a_system(organization), a_system(organization, name="Reports")
    for token in (token_of(system), "made-up"):
        answer = Browser().post(URL, {"token": token}, headers=basic(other))
        assert (answer.status_code, answer.json()) == (200, {"active": False})


def test_an_application_without_a_secret_learns_nothing(organization):
    """Its id is known to everybody who was ever sent to the consent page, so it proves nothing."""
    public = flow.public_application()
    form = {"token": token_of(a_system(organization)), "client_id": public.client_id, "client_secret": ""}
    answer = Browser().post(URL, form)
    assert answer.status_code == 403
    assert b"clients:read" not in answer.content


def test_a_token_in_the_address_is_not_looked_at(organization):
    """Addresses are logged by whatever stands between."""
    system = a_system(organization)
    answer = Browser().get(URL, {"token": token_of(system)}, headers=basic(system))
    assert answer.status_code == 405
