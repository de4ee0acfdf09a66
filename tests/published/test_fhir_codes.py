"""Statuses against HL7 FHIR R4 (4.0.1): the code lists, and whole resources that carry them."""

import itertools

import pytest
from fhir.resources.R4B.appointment import Appointment
from fhir.resources.R4B.episodeofcare import EpisodeOfCare
from fhir.resources.R4B.goal import Goal
from pydantic import ValidationError

from clinic.enums import EpisodeStatus
from goals.enums import Achievement, Lifecycle
from scheduling.enums import VisitStatus

# Source: the code systems of the published 4.0.1 package. The list of episode-of-care-status is from memory,
# and all lists with a required binding are held against fhir.resources below.
GOAL_STATUS = {
    "proposed",
    "planned",
    "accepted",
    "active",
    "on-hold",
    "completed",
    "cancelled",
    "entered-in-error",
    "rejected",
}
GOAL_ACHIEVEMENT = {
    "in-progress",
    "improving",
    "worsening",
    "no-change",
    "achieved",
    "sustaining",
    "not-achieved",
    "no-progress",
    "not-attainable",
}
APPOINTMENT_STATUS = {
    "proposed",
    "pending",
    "booked",
    "arrived",
    "fulfilled",
    "cancelled",
    "noshow",
    "entered-in-error",
    "checked-in",
    "waitlist",
}
EPISODE_OF_CARE_STATUS = {
    "planned",
    "waitlist",
    "active",
    "onhold",
    "finished",
    "cancelled",
    "entered-in-error",
}


@pytest.mark.parametrize(
    ("ours", "published"),
    [
        pytest.param(Lifecycle, GOAL_STATUS, id="goal-status"),
        pytest.param(Achievement, GOAL_ACHIEVEMENT, id="goal-achievement"),
        pytest.param(VisitStatus, APPOINTMENT_STATUS, id="appointmentstatus"),
        pytest.param(EpisodeStatus, EPISODE_OF_CARE_STATUS, id="episode-of-care-status"),
    ],
)
def test_our_statuses_are_codes_of_the_published_list(ours, published):
    """Every status is a code of the list, letter for letter."""
    assert {member.value for member in ours} <= published


def test_the_goal_words_of_the_trade_are_all_there():
    """A goal's achievement can be said in every code, its lifecycle in the six that a plan of care needs."""
    assert {member.value for member in Achievement} == GOAL_ACHIEVEMENT
    assert {member.value for member in Lifecycle} == GOAL_STATUS - {"planned", "rejected", "entered-in-error"}


@pytest.mark.parametrize(
    ("resource", "element", "published"),
    [
        pytest.param(Goal, "lifecycleStatus", GOAL_STATUS, id="goal-status"),
        pytest.param(Appointment, "status", APPOINTMENT_STATUS, id="appointmentstatus"),
        pytest.param(EpisodeOfCare, "status", EPISODE_OF_CARE_STATUS, id="episode-of-care-status"),
    ],
)
def test_the_lists_agree_with_a_second_copy(resource, element, published):
    """The lists above are those that fhir.resources carries for the required bindings (R4B, the same codes)."""
    assert set(resource.model_fields[element].json_schema_extra["enum_values"]) == published


def goal_resource(**overrides):
    """The least that a Goal must hold, and a target with its measure (invariant gol-1)."""
    return {
        "resourceType": "Goal",
        "lifecycleStatus": "active",
        "description": {"text": "fastens four vest buttons"},
        "subject": {"reference": "Patient/example"},
        "startDate": "2026-02-24",
        "target": [{"measure": {"text": "buttons fastened"}, "detailInteger": 4, "dueDate": "2026-05-24"}],
    } | overrides


@pytest.mark.parametrize(("lifecycle", "achievement"), list(itertools.product(Lifecycle, Achievement)))
def test_a_goal_with_our_statuses_is_a_goal(lifecycle, achievement):
    """A Goal resource with any of our statuses is valid and keeps them."""
    coding = {
        "system": "http://terminology.hl7.org/CodeSystem/goal-achievement",
        "code": achievement.value,
    }
    goal = Goal.model_validate(goal_resource(lifecycleStatus=lifecycle.value, achievementStatus={"coding": [coding]}))
    assert goal.lifecycleStatus == lifecycle.value
    assert goal.achievementStatus.coding[0].code == achievement.value


@pytest.mark.parametrize("missing", ["lifecycleStatus", "description", "subject"])
def test_a_goal_without_a_required_element_is_none(missing):
    """The validator refuses a Goal that lacks what 4.0.1 requires, so the test above says something."""
    resource = goal_resource()
    del resource[missing]
    with pytest.raises(ValidationError, match=missing):
        Goal.model_validate(resource)


def appointment_resource(**overrides):
    """The least that an Appointment must hold, with both ends (invariant app-2)."""
    return {
        "resourceType": "Appointment",
        "status": "booked",
        "start": "2026-03-10T16:00:00-04:00",
        "end": "2026-03-10T16:45:00-04:00",
        "participant": [{"actor": {"reference": "Patient/example"}, "status": "accepted"}],
    } | overrides


@pytest.mark.parametrize("status", list(VisitStatus))
def test_an_appointment_with_our_statuses_is_an_appointment(status):
    """An Appointment resource with any of our statuses is valid and keeps it."""
    assert Appointment.model_validate(appointment_resource(status=status.value)).status == status.value


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        pytest.param({"participant": None}, "participant", id="nobody-takes-part"),
        pytest.param({"participant": [{"actor": {"reference": "Patient/1"}}]}, "status", id="no-answer"),
        pytest.param({"start": "2026-03-10T16:00:00"}, "start", id="naive-time"),
    ],
)
def test_a_broken_appointment_is_none(broken, said):
    """The validator refuses an Appointment that lacks what 4.0.1 requires."""
    with pytest.raises(ValidationError, match=said):
        Appointment.model_validate(appointment_resource(**broken))
