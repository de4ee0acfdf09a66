"""Who answers for whom: supervision assigned and ended, and handed over when somebody leaves."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.enums import GivenRight, Role
from clinic.errors import Conflict, InvalidField, constraint_as_error
from clinic.models import Episode, Site, Staff, Succession, Supervision
from clinic.rules.access import Action, Actor
from clinic.selectors import staff as staff_selectors
from clinic.services.periods import require_at_work, require_role, set_end
from clinic.services.references import named
from clinic.services.self_given_rights import gives_more, tell_if_self_given


class SupervisionOverlaps(Conflict):
    code = "supervision_overlaps"
    title = "Somebody has primary supervision of her in this scope on some of these days already"


class SuccessionExists(Conflict):
    code = "succession_exists"
    title = "This handover is recorded already"


OVERLAPS = {"supervision_one_primary_per_scope": SupervisionOverlaps}


@transaction.atomic
def assign_supervision(
    *,
    actor: Actor,
    row_id: UUID,
    assistant: UUID,
    supervisor: UUID,
    starts_on: date,
    digest: str,
    now: datetime,
    ends_on: date | None = None,
    site: UUID | None = None,
    episode: UUID | None = None,
    **wanted: Any,
) -> Supervision:
    """Let a therapist answer for an assistant in one scope; refuses people without these roles on the first day."""
    helped, answering = _pair(actor, assistant, supervisor)
    require_role(helped, [Role.ASSISTANT], on=starts_on, member="assistant")
    require_role(answering, [Role.THERAPIST], on=starts_on, member="supervisor")
    for person in (helped, answering):
        require_at_work(person, starts_on=starts_on, ends_on=ends_on)
    place = named(Site.objects.of(actor), site, member="site") if site else None
    cared_for = Episode.objects.visible_to(actor, Action.CHANGE_SUPERVISION)
    care = named(cared_for, episode, member="episode") if episode else None
    with constraint_as_error(OVERLAPS):
        row = Supervision.objects.create(
            pk=row_id,
            organization_id=actor.organization_id,
            assistant=helped,
            supervisor=answering,
            site=place,
            episode=care,
            starts_on=starts_on,
            ends_on=ends_on,
            created_digest=digest,
            **wanted,
        )
    outbox.created("supervision", row, **_whose(row))
    _tell(row, now)
    _tell_if_self_given(actor, row, now)
    return row


@transaction.atomic
def end_supervision(*, actor: Actor, supervision: Supervision, ends_on: date | None, now: datetime) -> Supervision:
    """Set the last day of an assignment; what she supervised until then stays hers to co-sign."""
    for person in _pair(actor, supervision.assistant_id, supervision.supervisor_id):
        require_at_work(person, starts_on=supervision.starts_on, ends_on=ends_on)
    longer = gives_more(supervision.ends_on, ends_on)
    set_end(supervision, ends_on, overlaps=OVERLAPS)
    outbox.changed("supervision", supervision, **_whose(supervision))
    _tell(supervision, now)
    if longer:
        _tell_if_self_given(actor, supervision, now)
    return supervision


@transaction.atomic
def hand_over(
    *, actor: Actor, former: UUID, successor: UUID, starts_on: date, reason: str, now: datetime
) -> Succession:
    """Let a therapist co-sign what fell to one who has left, or whose last day is set."""
    if former == successor:
        raise InvalidField("/successor", "Nobody succeeds herself", code="same_person")
    leaving = named(staff_selectors.colleagues(actor), former, member="former")
    following = named(staff_selectors.colleagues(actor), successor, member="successor")
    if leaving.left_on is None:
        raise InvalidField("/former", "She has not left, and her last day is not set", code="not_leaving")
    require_role(following, [Role.THERAPIST], on=starts_on, member="successor")
    with constraint_as_error({"succession_once": SuccessionExists}):
        row = Succession.objects.create(
            organization_id=actor.organization_id,
            former=leaving,
            successor=following,
            starts_on=starts_on,
            reason=reason,
            by_id=actor.person,
            at=now,
        )
    outbox.created("succession", row)
    outbox.record("succession.recorded", organization_id=row.organization_id, now=now, succession_id=row.pk)
    tell_if_self_given(
        actor=actor,
        receiver=following.pk,
        kind=GivenRight.SUCCESSION,
        subject_id=row.pk,
        now=now,
        concerned=[leaving.pk],
    )
    return row


def _pair(actor: Actor, assistant: UUID, supervisor: UUID) -> tuple[Staff, Staff]:
    """Both people, locked in the order of their ids, so that neither leaves meanwhile."""
    if assistant == supervisor:
        raise InvalidField("/supervisor", "Nobody supervises herself", code="same_person")
    rows = staff_selectors.colleagues(actor)
    found = {}
    for row_id, member in sorted([(assistant, "assistant"), (supervisor, "supervisor")]):
        found[member] = named(rows, row_id, member=member, lock=True)
    return found["assistant"], found["supervisor"]


def _whose(row: Supervision) -> dict[str, Any]:
    return {"client_id": row.episode.client_id, "episode_id": row.episode_id} if row.episode else {}


def _tell(row: Supervision, now: datetime) -> None:
    outbox.record("supervision.changed", organization_id=row.organization_id, now=now, assistant_id=row.assistant_id)


def _tell_if_self_given(actor: Actor, row: Supervision, now: datetime) -> None:
    tell_if_self_given(
        actor=actor,
        receiver=row.supervisor_id,
        kind=GivenRight.SUPERVISION,
        subject_id=row.pk,
        now=now,
        concerned=[row.assistant_id],
        episode=row.episode,
    )
