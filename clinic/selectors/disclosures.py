"""Reads of what went out of a child's record, scoped to who asks."""

from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet

from clinic.enums import RecordRegime
from clinic.models import Consent, Disclosure
from clinic.rules.access import Action, Actor
from clinic.rules.disclosures import LEFT_OUT, account_starts


def disclosures_for(actor: Actor, action: Action = Action.SEE_DISCLOSURES) -> QuerySet[Disclosure]:
    """Disclosures of episodes in her reach, with all that a row shows."""
    rows = Disclosure.objects.visible_to(actor, action)
    return rows.select_related("episode", "consent", "replaced_by")


def account_of(rows: QuerySet[Disclosure], *, asked_on: date) -> QuerySet[Disclosure]:
    """What an account asked for on this day lists: each episode's under its own law, and nothing that was replaced.

    34 CFR 99.32(a)(1) wants requests as well; 45 CFR 164.528 disclosures alone.
    """
    health, education = (
        Q(episode__record_regime=regime.value) & ~Q(authority__in=[left.value for left in LEFT_OUT[regime]])
        for regime in (RecordRegime.HEALTH, RecordRegime.EDUCATION)
    )
    health &= Q(disclosed_on__gte=account_starts(asked_on), disclosed_on__lte=asked_on)
    education &= Q(disclosed_on__lte=asked_on) | Q(requested_on__lte=asked_on)
    return rows.filter(health | education, replaced_by__isnull=True)


def disclosure_exists(row_id: UUID) -> bool:
    return Disclosure.objects.filter(pk=row_id).exists()


def releases_of(client_id: UUID, episode_id: UUID) -> QuerySet[Consent]:
    """Consents that may stand behind a disclosure of this episode's record."""
    of_episode = Q(episode__isnull=True) | Q(episode_id=episode_id)
    return Consent.objects.filter(of_episode, client_id=client_id, kind="release")
