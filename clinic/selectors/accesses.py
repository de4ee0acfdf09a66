"""Who has touched a child's record, out of the trail."""

from uuid import UUID

from django.db.models import QuerySet
from django.db.models.expressions import RawSQL

from clinic.enums import Outcome
from clinic.models import AuditEvent, Client
from clinic.rules.access import Actor

# The trail's older events name their children in a table of their own.
TOUCHED = """
SELECT e.id FROM clinic_auditevent e WHERE e.client_ids @> ARRAY[%s]::uuid[]
UNION SELECT c.event_id FROM clinic_auditeventclient c WHERE c.client_id = %s"""


def accesses_to(actor: Actor, client: Client) -> QuerySet[AuditEvent]:
    """Each request that showed or changed this child's record."""
    touching = RawSQL(TOUCHED, [client.pk, client.pk])  # noqa: S611
    rows = AuditEvent.objects.filter(organization_id=actor.organization_id, outcome=Outcome.DONE.value)
    return rows.filter(pk__in=touching).select_related("actor").prefetch_related("clients")


def episodes_touched(event: AuditEvent, client_id: UUID) -> list[UUID]:
    """Which of the child's episodes the request was about; none where it was about the child alone."""
    older = [(row.client_id, row.episode_id) for row in event.clients.all()]
    return sorted({episode for child, episode in [*event.touched, *older] if child == client_id and episode})
