"""Which days of an assistant had nobody assigned, and who is told."""

from datetime import date

import pytest
from rest_framework.test import APIClient

from clinic.enums import Role
from clinic.models import StaffRole
from tests import factories as make

pytestmark = pytest.mark.django_db

FIRST, LAST = date(2026, 3, 10), date(2026, 3, 16)


class Practice:
    """Ana, whom nobody supervises yet; Ida runs the office."""

    def __init__(self) -> None:
        self.organization = make.make_organization()
        self.site = make.make_site(self.organization)
        self.ana = make.make_staff(self.organization, Role.ASSISTANT)
        self.ruth = make.make_staff(self.organization, Role.THERAPIST)
        self.api = make.signed_in(make.make_staff(self.organization, Role.ADMINISTRATOR))

    def asked(self, api: APIClient | None = None, **more):
        asked = {"starts_on": FIRST.isoformat(), "ends_on": LAST.isoformat(), **more}
        return (api or self.api).get(f"/api/v1/staff/{self.ana.pk}/supervision-ledger/", asked)

    def days(self, **more) -> list[int]:
        return [int(day[-2:]) for day in self.asked(**more).json()["unassigned_days"]]


@pytest.fixture
def practice():
    return Practice()


def test_days_between_two_assignments(practice):
    """The first and the last day of each are assigned, those between are not."""
    make.make_supervision(practice.ana, practice.ruth, ends_on=date(2026, 3, 11))
    make.make_supervision(practice.ana, practice.ruth, starts_on=date(2026, 3, 15))
    answer = practice.asked().json()
    assert answer == {
        "assistant": str(practice.ana.pk),
        "starts_on": "2026-03-10",
        "ends_on": "2026-03-16",
        "unassigned_days": ["2026-03-12", "2026-03-13", "2026-03-14"],
        "sentence": "3 days without an assignment",
    }


@pytest.mark.parametrize(
    ("until", "told"),
    [
        (date(2026, 3, 15), "1 day without an assignment"),
        (date(2026, 3, 16), "no days without an assignment"),
    ],
)
def test_it_is_said_in_a_sentence(practice, until, told):
    """One, or none."""
    make.make_supervision(practice.ana, practice.ruth, ends_on=until)
    assert practice.asked().json()["sentence"] == told


def test_an_episode_counts_what_reaches_it(practice):
    """An assignment in one episode leaves another's days without; of all together it is one."""
    here, there = (make.make_episode(make.make_client(practice.site)) for _ in range(2))
    make.make_supervision(practice.ana, practice.ruth, scope="episode", episode=here)
    assert practice.days() == []
    assert practice.days(episode=str(here.pk)) == []
    assert practice.days(episode=str(there.pk)) == list(range(10, 17))
    assert practice.asked(episode=make.new_id()).status_code == 404


def test_only_days_on_which_she_was_an_assistant(practice):
    """Nobody answers for her before she is one, nor once she is a therapist herself."""
    StaffRole.objects.filter(staff=practice.ana).update(starts_on=date(2026, 3, 11))
    StaffRole.objects.create(
        organization=practice.organization, staff=practice.ana, role="therapist", starts_on=date(2026, 3, 14)
    )
    assert practice.days() == [11, 12, 13]


@pytest.mark.parametrize(
    "asked",
    [
        pytest.param({"ends_on": "2026-03-09"}, id="backwards"),
        pytest.param({"ends_on": "2027-03-12"}, id="more-than-a-year"),
        pytest.param({"ends_on": "soon"}, id="no-day"),
        pytest.param({"site": make.new_id()}, id="an-unknown-parameter"),
    ],
)
def test_what_is_refused(practice, asked):
    """400 of a stretch that is none."""
    assert practice.asked(**asked).status_code == 400


def test_another_organizations_staff_are_not_there(practice):
    """404, as for an id that does not exist."""
    assert practice.asked(api=Practice().api).status_code == 404
