"""Children in reach who are easily taken for another: born on the same day, or of the same family name."""

from typing import Any

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, Value, When

from clinic.enums import EpisodeStatus
from clinic.models import Client, Episode
from clinic.models.clients import folded
from clinic.rules.access import Action, Actor

OPEN = (EpisodeStatus.PLANNED.value, EpisodeStatus.ACTIVE.value, EpisodeStatus.ON_HOLD.value)
MOST_SHOWN = 10


def look_alikes_of(actor: Actor, client: Client) -> list[Any]:
    """Other children in her reach with an open episode who could be taken for this one, the most alike first.

    Names are compared without case, accents, spaces, hyphens and apostrophes. At most ten.
    """
    treated = Episode.objects.filter(client=OuterRef("pk"), status__in=OPEN)
    rows = Client.objects.visible_to(actor, Action.SEE_CLIENTS).exclude(pk=client.pk).filter(Exists(treated))
    rows = rows.annotate(family=folded(F("family_name")), given=folded(F("given_name")))
    rows = rows.annotate(
        same_birth_date=_one(Q(birth_date=client.birth_date)),
        same_family_name=_one(Q(family=folded(Value(client.family_name)))),
        same_given_name=_one(Q(given=folded(Value(client.given_name)))),
    )
    alike = Q(birth_date=client.birth_date) | Q(family=folded(Value(client.family_name)))
    likeness = F("same_birth_date") + F("same_family_name") + F("same_given_name")
    return list(rows.filter(alike).order_by(-likeness, "family_name", "given_name", "pk")[:MOST_SHOWN])


def _one(condition: Q) -> Case:
    """A one where it holds, else a nought."""
    return Case(When(condition, then=Value(1)), default=Value(0), output_field=IntegerField())
