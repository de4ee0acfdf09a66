"""Notices: what one person is told, listed for her alone, once, in no clinical word."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from clinic.enums import NoticeKind, Role
from clinic.models import Notice
from clinic.services import notices
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 3, 18, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _later_that_day():
    with time_machine.travel(NOW + timedelta(hours=2), tick=False):
        yield


@pytest.fixture
def organization():
    return make.make_organization()


@pytest.fixture
def ana(organization):
    return make.make_staff(organization, Role.ASSISTANT)


@pytest.fixture
def ruth(organization):
    return make.make_staff(organization, Role.THERAPIST)


def tell(*recipients, subject=None, now=NOW):
    notices.tell(
        organization_id=recipients[0].organization_id,
        recipients=[staff.pk for staff in recipients],
        kind=NoticeKind.PIN_RESET,
        subject_kind="staff",
        subject_id=subject or recipients[0].pk,
        now=now,
    )


def told(staff, query=""):
    return make.signed_in(staff).get(f"/api/v1/notices/{query}").json()["results"]


def test_whoever_is_told_sees_it_and_nobody_else(ana, ruth):
    """The list holds her own notices only: kind, subject, when; not yet read."""
    tell(ana)
    (shown,) = told(ana)
    assert shown == {
        "id": str(Notice.objects.get().pk),
        "kind": "pin_reset",
        "subject_kind": "staff",
        "subject": str(ana.pk),
        "at": "2026-03-03T18:00:00Z",
        "read_at": None,
    }
    assert told(ruth) == []


def test_each_is_told_once(ana, ruth):
    """Telling again, as a listener that repeats would, adds nothing; another subject does."""
    tell(ana, ruth)
    tell(ruth, ana, subject=ana.pk, now=NOW + timedelta(hours=1))
    assert [row["at"] for row in told(ruth)] == ["2026-03-03T18:00:00Z"]
    tell(ruth)
    assert len(told(ruth)) == 2
    assert len(told(ana)) == 1


def test_read_stays_read(ana):
    """The first reading is noted; saying so again changes nothing; the unread are listed apart."""
    tell(ana)
    tell(ana, subject=make.new_id(), now=NOW + timedelta(minutes=1))
    newest, oldest = told(ana)
    api = make.signed_in(ana)
    first = api.post(f"/api/v1/notices/{oldest['id']}/read/", {}, format="json")
    assert first.status_code == 200
    assert first.json()["read_at"] is not None
    again = api.post(f"/api/v1/notices/{oldest['id']}/read/", {}, format="json")
    assert again.json() == first.json()
    assert [row["id"] for row in told(ana, "?unread=true")] == [newest["id"]]
    assert [row["id"] for row in told(ana, "?unread=false")] == [oldest["id"]]


def test_a_notice_of_another_is_not_there(ana, ruth):
    """Marking another's answers 404, and it stays unread."""
    tell(ana)
    answer = make.signed_in(ruth).post(f"/api/v1/notices/{Notice.objects.get().pk}/read/", {}, format="json")
    assert answer.status_code == 404
    assert Notice.objects.get().read_at is None
