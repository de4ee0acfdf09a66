"""Reads of diagnoses, and of the codes that stand for them."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.models import DiagnosisCode, EpisodeDiagnosis
from clinic.rules.access import Action, Actor
from clinic.rules.diagnoses import CodePeriod


def diagnoses_for(actor: Actor, action: Action = Action.SEE_DIAGNOSES, **equal: Any) -> QuerySet[EpisodeDiagnosis]:
    """Diagnoses of episodes in reach."""
    return EpisodeDiagnosis.objects.visible_to(actor, action).filter(**equal).select_related("episode")


def diagnosis_exists(row_id: UUID) -> bool:
    return EpisodeDiagnosis.objects.filter(pk=row_id).exists()


def code_periods(code: str) -> list[CodePeriod]:
    """The days on which this code stood in the classification."""
    rows = DiagnosisCode.objects.filter(code=code)
    return [CodePeriod(row.code, row.billable, row.valid_from, row.valid_until) for row in rows]
