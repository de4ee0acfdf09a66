"""Who answers for whose work, in which scope, on which days."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Coalesce

from clinic.enums import ContactMedium, ScopeKind, SupervisionKind
from clinic.models.base import (
    DAYS,
    PeriodQuerySet,
    ScopedModel,
    VersionedModel,
    code_field,
    ends_after_start,
    one_of,
)
from clinic.models.clients import Client
from clinic.models.episodes import Episode
from clinic.models.guards import append_only
from clinic.models.organization import Site
from clinic.models.reach import ScopedQuerySet, reach_of_episodes
from clinic.models.staff import Staff
from clinic.rules.access import Action, Actor, Relation, relations


class SupervisionQuerySet(PeriodQuerySet):
    """Who answers for whom; in one episode only for the two themselves and for whoever reaches the episode."""

    def visible_to(self, actor: Actor, action: Action) -> "SupervisionQuerySet":
        care = Action.SEE_EPISODES if action == Action.SEE_SUPERVISION else action
        hers = Q(assistant_id=actor.staff_id) | Q(supervisor_id=actor.staff_id)
        of_episode = Q(episode__isnull=True) | hers | reach_of_episodes(actor, care, path="episode_id")
        return super().visible_to(actor, action).filter(of_episode)


class Supervision(VersionedModel):
    """A therapist answers for an assistant in one scope, from a day to a day. The narrowest scope in force wins."""

    assistant = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="supervised_by")
    supervisor = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="supervises", db_index=False)
    kind = code_field(SupervisionKind, default=SupervisionKind.PRIMARY.value)
    scope = code_field(ScopeKind)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+", null=True)
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="supervision", null=True)
    scope_id = models.GeneratedField(
        expression=Coalesce("episode_id", "site_id", "organization_id"),
        output_field=models.UUIDField(),
        db_persist=True,
    )
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)

    objects = SupervisionQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("kind", SupervisionKind, name="supervision_kind_is_known"),
            ends_after_start("supervision_ends_after_start"),
            models.CheckConstraint(
                name="supervision_scope_names_its_place",
                condition=Q(scope=ScopeKind.ORGANIZATION.value, site__isnull=True, episode__isnull=True)
                | Q(scope=ScopeKind.SITE.value, site__isnull=False, episode__isnull=True)
                | Q(scope=ScopeKind.EPISODE.value, site__isnull=True, episode__isnull=False),
            ),
            models.CheckConstraint(name="supervision_not_of_oneself", condition=~Q(assistant=F("supervisor"))),
            ExclusionConstraint(
                name="supervision_one_primary_per_scope",
                expressions=[
                    ("assistant", RangeOperators.EQUAL),
                    ("scope_id", RangeOperators.EQUAL),
                    (DAYS, RangeOperators.OVERLAPS),
                ],
                condition=Q(kind=SupervisionKind.PRIMARY.value),
            ),
        ]
        indexes = [models.Index(fields=["supervisor", "starts_on", "ends_on"], name="supervision_by_supervisor")]

    def __str__(self) -> str:
        return f"{self.kind} supervision of {self.assistant_id}"


class Succession(ScopedModel):
    """A handover act: the successor may co-sign what fell to somebody who has left. Printed on the signature."""

    former = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="succeeded_by")
    successor = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="succeeds")
    starts_on = models.DateField()
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.CheckConstraint(name="succession_to_another", condition=~Q(former=F("successor"))),
            models.CheckConstraint(name="succession_has_a_reason", condition=~Q(reason="")),
            models.UniqueConstraint(fields=["former", "successor"], name="succession_once"),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.successor_id} after {self.former_id}"


class SupervisoryContactQuerySet(ScopedQuerySet):
    """Contacts in which the actor took part; all of them for whoever sees the organization's."""

    def visible_to(self, actor: Actor, action: Action) -> "SupervisoryContactQuerySet":
        granted = relations(actor, action)
        if Relation.ORGANIZATION in granted:
            return self.of(actor)
        if Relation.SELF in granted:
            return self.of(actor).filter(Q(assistant_id=actor.staff_id) | Q(supervisor_id=actor.staff_id))
        return self.none()


class SupervisoryContact(VersionedModel):
    """One contact of supervisor and assistant, as facts: whether it was direct is a rule's to say."""

    assistant = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    supervisor = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    service_date = models.DateField()
    medium = code_field(ContactMedium)
    minutes = models.PositiveSmallIntegerField()
    activity = models.CharField(max_length=500)
    source = models.UUIDField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")

    objects = SupervisoryContactQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("medium", ContactMedium, name="supervisory_contact_medium_is_known"),
            models.UniqueConstraint(fields=["source", "assistant"], name="supervisory_contact_once_per_source"),
            models.CheckConstraint(name="supervisory_contact_minutes_fit_a_day", condition=Q(minutes__range=(1, 1440))),
            models.CheckConstraint(name="supervisory_contact_of_two_people", condition=~Q(assistant=F("supervisor"))),
        ]
        indexes = [models.Index(fields=["assistant", "service_date"], name="supervisory_contact_by_day")]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.medium} contact of {self.minutes} min"


class SupervisoryContactClient(ScopedModel):
    """A client whom a supervisory contact was about: discussed, present, seen by the therapist herself."""

    contact = models.ForeignKey(SupervisoryContact, on_delete=models.PROTECT, related_name="clients")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="+")
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+")
    discussed = models.BooleanField(default=False)
    present = models.BooleanField(default=False)
    seen_by_therapist = models.BooleanField(default=False)

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["contact", "episode"], name="supervisory_contact_client_once"),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"client {self.client_id}"
