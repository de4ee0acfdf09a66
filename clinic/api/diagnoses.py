"""Doors to the diagnoses that episodes are treated under."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Id, StrictInput, Text, Whole
from clinic.api.periods import PeriodEndIn, PeriodIn, PeriodRecord
from clinic.api.views import ApiView, ChangeDoor, ListDoor
from clinic.models import EpisodeDiagnosis
from clinic.rules.access import Action
from clinic.selectors import diagnoses as selectors
from clinic.selectors.rows import one
from clinic.services import diagnoses as services

DIAGNOSIS = {
    "episode": "0198a1f0-0000-7000-8000-0000000000e1",
    "code": "F82",
    "rank": 1,
    "starts_on": "2026-02-24",
    "ends_on": None,
}


@example(DIAGNOSIS)
class EpisodeDiagnosisIn(PeriodIn):
    """A diagnosis code (ICD-10-CM, with its point) that an episode is treated under."""

    episode = Id()
    code = Text(max_length=8)
    rank = Whole(min_value=1, max_value=12, required=False)

    def validate_code(self, code: str) -> str:
        return code.upper()


@example({"id": "0198a1f0-0000-7000-8000-0000000000b8", "version": 1, **DIAGNOSIS})
class EpisodeDiagnosisRecord(PeriodRecord):
    """A diagnosis of an episode, from a day to a day."""

    episode = serializers.UUIDField(source="episode_id")
    code = serializers.CharField()
    rank = serializers.IntegerField()


@example({"episode": "0198a1f0-0000-7000-8000-0000000000e1"})
class EpisodeDiagnosisFilter(StrictInput):
    episode = Id(required=False)


class EpisodeDiagnosisDoor(ApiView):
    resource = "episode_diagnoses"

    def touch_row(self, row: EpisodeDiagnosis) -> None:
        self.touch(row.episode.client_id, row.episode_id)


class EpisodeDiagnosisList(EpisodeDiagnosisDoor, ListDoor):
    """The diagnoses that the episodes in your reach are treated under."""

    actions = {"GET": Action.SEE_DIAGNOSES}
    outputs = {"GET": EpisodeDiagnosisRecord}
    filters = EpisodeDiagnosisFilter
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.diagnoses_for(self.actor, **asked)


class EpisodeDiagnosisDetail(EpisodeDiagnosisDoor, ChangeDoor):
    """One diagnosis of an episode."""

    actions = {"GET": Action.SEE_DIAGNOSES, "PUT": Action.CHANGE_DIAGNOSES, "PATCH": Action.CHANGE_DIAGNOSES}
    inputs = {"PUT": EpisodeDiagnosisIn, "PATCH": PeriodEndIn}
    outputs = {"GET": EpisodeDiagnosisRecord, "PUT": EpisodeDiagnosisRecord, "PATCH": EpisodeDiagnosisRecord}
    told_as = {
        "GET": "One diagnosis of an episode",
        "PUT": "Add a diagnosis to an episode.\n\nThe code must stand in the classification on the first day, and be "
        "billable. A school episode needs none.",
        "PATCH": "Set the last day of a diagnosis",
    }
    form = EpisodeDiagnosisIn
    change_form = PeriodEndIn

    def find(self, row_id: UUID) -> EpisodeDiagnosis:
        return one(selectors.diagnoses_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> EpisodeDiagnosis:
        return one(selectors.diagnoses_for(self.actor, Action.CHANGE_DIAGNOSES), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.diagnosis_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> EpisodeDiagnosis:
        return services.add_diagnosis(actor=self.actor, row_id=row_id, digest=digest, **wanted)

    def change(self, row: EpisodeDiagnosis, wanted: dict[str, Any]) -> EpisodeDiagnosis:
        ends_on = wanted.get("ends_on", row.ends_on)
        return services.end_diagnosis(actor=self.actor, diagnosis=row, ends_on=ends_on)
