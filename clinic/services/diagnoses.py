"""Under which diagnoses an episode is treated."""

from datetime import date
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, InvalidField, constraint_as_error
from clinic.models import EpisodeDiagnosis
from clinic.rules.access import Action, Actor
from clinic.rules.diagnoses import DiagnosisRefusal, diagnosis_refusal
from clinic.selectors import diagnoses as selectors
from clinic.selectors import episodes as episode_selectors
from clinic.services.periods import set_end
from clinic.services.references import named

WORDS = {
    DiagnosisRefusal.MALFORMED: "This does not have the form of an ICD-10-CM code",
    DiagnosisRefusal.UNKNOWN: "This code is not in the table of codes",
    DiagnosisRefusal.NOT_YET_VALID: "This code did not hold yet on the first day",
    DiagnosisRefusal.EXPIRED: "This code held no longer on the first day",
    DiagnosisRefusal.NOT_BILLABLE: "This code has codes below it that say more: choose one of them",
}


class DiagnosisOverlaps(Conflict):
    code = "diagnosis_overlaps"
    title = "The episode has this diagnosis on some of these days already"


OVERLAPS = {"episode_diagnosis_no_overlap": DiagnosisOverlaps}


@transaction.atomic
def add_diagnosis(
    *, actor: Actor, row_id: UUID, episode: UUID, code: str, starts_on: date, digest: str, **wanted: Any
) -> EpisodeDiagnosis:
    """Add a diagnosis; its first day decides whether the code may stand."""
    care = named(episode_selectors.episodes_for(actor, Action.CHANGE_DIAGNOSES), episode, member="episode")
    refusal = diagnosis_refusal(code, on=starts_on, periods=selectors.code_periods(code))
    if refusal:
        raise InvalidField("/code", WORDS[refusal], code=refusal.value)
    with constraint_as_error(OVERLAPS):
        diagnosis = EpisodeDiagnosis.objects.create(
            pk=row_id,
            organization_id=actor.organization_id,
            episode=care,
            code=code,
            starts_on=starts_on,
            created_digest=digest,
            **wanted,
        )
    outbox.created("episode_diagnosis", diagnosis, client_id=care.client_id, episode_id=care.pk)
    return diagnosis


@transaction.atomic
def end_diagnosis(*, actor: Actor, diagnosis: EpisodeDiagnosis, ends_on: date | None) -> EpisodeDiagnosis:
    """Set the last day on which an episode is treated under a diagnosis."""
    set_end(diagnosis, ends_on, overlaps=OVERLAPS)
    episode = diagnosis.episode
    outbox.changed("episode_diagnosis", diagnosis, client_id=episode.client_id, episode_id=episode.pk)
    return diagnosis
