"""A child's ages over HTTP: the method named, the correction explained."""

from datetime import date

import pytest

from clinic.enums import Role
from clinic.models import AuditEvent
from tests import factories as make
from tests.clinic.asking import faults

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    child = make.make_client(site, birth_date=date(2024, 2, 29), gestation_weeks=31, gestation_days=2)
    assistant = make.make_staff(organization, Role.ASSISTANT)
    make.put_on_team(assistant, make.make_episode(child))
    return {"organization": organization, "site": site, "child": child, "assistant": assistant}


def ages(team, query, child=None):
    return make.signed_in(team["assistant"]).get(f"/api/v1/clients/{(child or team['child']).pk}/ages/?{query}")


def test_a_leap_day_child_born_early(team):
    """Worked case: born 29 February 2024 at 31 weeks and 2 days, asked the day before the cut-off."""
    answer = ages(team, "on=2026-02-27")
    assert answer.status_code == 200
    assert answer.json() == {
        "client": str(team["child"].pk),
        "on": "2026-02-27",
        "method": "calendar",
        "chronological": {"years": 1, "months": 11, "days": 29, "text": "1;11;29"},
        "correction": "applies",
        "corrected": {"years": 1, "months": 9, "days": 25, "text": "1;9;25"},
        "corrected_birth_date": "2024-05-02",
        "correction_stops_on": "2026-02-28",
        "sentence": "On 2026-02-27 the child is 1 year, 11 months and 29 days old, counted by the calendar. "
        "Corrected for the early birth, from 2024-05-02, it is 1 year, 9 months and 25 days, until 2026-02-28.",
    }


@pytest.mark.parametrize(
    ("query", "text", "correction", "words"),
    [
        pytest.param(
            "on=2026-02-28", "2;0;0", "past_cut_off", "cut-off was reached on 2026-02-28", id="at the cut-off"
        ),
        pytest.param("on=2026-02-28&method=borrow_30", "1;11;29", "past_cut_off", "months of 30 days", id="borrow 30"),
        pytest.param(
            "on=2024-03-01", "0;0;1", "before_expected_date", "expected date of birth is 2024-05-02", id="new"
        ),
    ],
)
def test_what_the_sentence_says(team, query, text, correction, words):
    """Two methods may differ by a day: the one used is named."""
    told = ages(team, query).json()
    assert (told["chronological"]["text"], told["correction"], told["corrected"]) == (text, correction, None)
    assert words in told["sentence"]


@pytest.mark.parametrize(
    ("weeks", "correction", "words"),
    [(None, "gestation_unknown", "are not recorded"), (39, "born_at_term", "born at term")],
)
def test_why_an_age_is_not_corrected(team, weeks, correction, words):
    child = make.make_client(team["site"], gestation_weeks=weeks)
    make.put_on_team(team["assistant"], make.make_episode(child))
    told = ages(team, "on=2026-02-27", child).json()
    assert (told["correction"], told["corrected_birth_date"]) == (correction, None)
    assert words in told["sentence"]


def test_the_cut_off_is_the_organizations(team):
    """Set to 36 months, the age of two is still corrected."""
    team["organization"].corrected_age_until_months = 36
    team["organization"].save()
    told = ages(team, "on=2026-02-28").json()
    assert (told["correction"], told["correction_stops_on"]) == ("applies", "2027-02-28")


@pytest.mark.parametrize(
    ("query", "status", "fault"),
    [
        pytest.param("on=2024-02-28", 422, ("/on", "before_birth"), id="before the birth"),
        pytest.param("on=28.2.2026", 400, ("/on", "invalid"), id="no date"),
        pytest.param("method=guess", 400, ("/method", "invalid_choice"), id="no method"),
        pytest.param("unit=weeks", 400, ("/unit", "unknown_parameter"), id="no such parameter"),
    ],
)
def test_a_wrong_parameter_is_pointed_at(team, query, status, fault):
    answer = ages(team, query)
    assert (answer.status_code, faults(answer)) == (status, [fault])


def test_out_of_reach_is_not_there_and_in_reach_is_told(team):
    stranger = make.make_client(team["site"])
    assert ages(team, "", stranger).status_code == 404
    assert ages(team, "").status_code == 200
    event = AuditEvent.objects.filter(outcome="done").get()
    assert event.client_ids == [team["child"].pk]
