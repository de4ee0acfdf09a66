"""Appointments, who took part in each, and the times that they hold."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, RangeOperators
from django.db import models
from django.db.models import F, Q
from django.db.models.expressions import RawSQL

from clinic.enums import DocumentState
from clinic.models import Client, Document, EnteredInError, Episode, Room, Site, Staff
from clinic.models.base import ScopedModel, VersionedModel, code_field, one_of
from clinic.models.guards import append_only, fixed
from clinic.models.reach import ReachQuerySet, ScopedQuerySet, care_sql
from clinic.rules.access import Action, Actor, Relation, relations
from scheduling.enums import CancelCause, VisitKind, VisitMode, VisitStatus

GONE = [VisitStatus.CANCELLED.value, VisitStatus.NO_SHOW.value]


class VisitQuerySet(models.QuerySet):
    """Visits in which a child of an episode in reach takes part."""

    def visible_to(self, actor: Actor, action: Action) -> "VisitQuerySet":
        granted = relations(actor, action)
        mine = self.filter(organization_id=actor.organization_id)
        if Relation.ORGANIZATION in granted:
            return mine
        sql, params = care_sql(actor, granted)
        taking_part = f"SELECT p.visit_id FROM scheduling_participation p WHERE p.episode_id IN ({sql})"  # noqa: S608
        booked = "SELECT b.visit_id FROM scheduling_booking b WHERE b.staff_id = %s AND NOT b.superseded"
        return mine.filter(
            Q(pk__in=RawSQL(taking_part, params)) | Q(pk__in=RawSQL(booked, [actor.staff_id]))  # noqa: S611
        )


class Visit(VersionedModel):
    """One appointment at a site, booked or held. A group's own status is derived from its participations."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="visits", db_index=False)
    kind = code_field(VisitKind)
    mode = code_field(VisitMode, default=VisitMode.IN_PERSON.value)
    place = models.CharField(max_length=200, blank=True, default="")
    status = code_field(VisitStatus, default=VisitStatus.BOOKED.value)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    service_date = models.DateField()
    arrived_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    sequence = models.PositiveIntegerField(default=0)

    objects = VisitQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("kind", VisitKind, name="visit_kind_is_known"),
            one_of("mode", VisitMode, name="visit_mode_is_known"),
            one_of("status", VisitStatus, name="visit_status_is_known"),
            models.CheckConstraint(name="visit_ends_after_start", condition=Q(ends_at__gt=F("starts_at"))),
            models.CheckConstraint(
                name="visit_at_most_twelve_hours",
                condition=Q(ends_at__lte=F("starts_at") + models.Value("12 hours", models.DurationField())),
            ),
            models.CheckConstraint(
                name="visit_finished_after_arrival",
                condition=Q(finished_at__isnull=True)
                | Q(arrived_at__isnull=True)
                | Q(finished_at__gte=F("arrived_at")),
            ),
        ]
        indexes = [
            models.Index(fields=["site", "starts_at"], include=["status"], name="visit_by_site"),
            models.Index(fields=["starts_at"], name="visit_by_start"),
            models.Index(fields=["organization", "service_date"], name="visit_by_day"),
        ]
        triggers = fixed("organization_id", "kind")

    def __str__(self) -> str:
        return f"{self.kind} at {self.starts_at}"


class Participation(VersionedModel):
    """One child in one visit, with her own times, attendance, minutes and note."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="participations")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="participations", db_index=False)
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="participations")
    service_date = models.DateField()
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    status = code_field(VisitStatus, default=VisitStatus.BOOKED.value)
    arrived_at = models.DateTimeField(null=True)
    left_at = models.DateTimeField(null=True)
    minutes = models.PositiveSmallIntegerField(null=True)
    ended_early = models.CharField(max_length=200, blank=True, default="")
    cancelled_at = models.DateTimeField(null=True)
    cancelled_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True)
    cancel_cause = code_field(CancelCause, null=True)
    cancel_reason = models.CharField(max_length=500, blank=True, default="")
    hours_of_notice = models.DecimalField(max_digits=8, decimal_places=2, null=True)
    device_offset_seconds = models.BigIntegerField(null=True)

    objects = ReachQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.UniqueConstraint(fields=["visit", "client"], name="participation_once_per_visit"),
            models.UniqueConstraint(fields=["organization", "id", "episode"], name="participation_key_with_episode"),
            one_of("status", VisitStatus, name="participation_status_is_known"),
            one_of("cancel_cause", CancelCause, name="participation_cause_is_known", null=True),
            models.CheckConstraint(name="participation_ends_after_start", condition=Q(ends_at__gt=F("starts_at"))),
            models.CheckConstraint(
                name="participation_status_has_its_facts",
                condition=Q(status=VisitStatus.BOOKED.value, cancelled_at__isnull=True)
                | Q(status=VisitStatus.CHECKED_IN.value, arrived_at__isnull=False, cancelled_at__isnull=True)
                | Q(status=VisitStatus.FULFILLED.value, minutes__isnull=False, cancelled_at__isnull=True)
                | Q(
                    status__in=GONE,
                    cancelled_at__isnull=False,
                    cancelled_by__isnull=False,
                    cancel_cause__isnull=False,
                )
                | Q(status=VisitStatus.ENTERED_IN_ERROR.value),
            ),
            models.CheckConstraint(
                name="participation_leaves_after_arrival",
                condition=Q(left_at__isnull=True) | Q(arrived_at__isnull=True) | Q(left_at__gte=F("arrived_at")),
            ),
            models.CheckConstraint(
                name="participation_minutes_fit_a_visit",
                condition=Q(minutes__isnull=True) | Q(minutes__lte=720),
            ),
            models.CheckConstraint(
                name="participation_device_clock_is_far_off",
                condition=Q(device_offset_seconds__isnull=True) | ~Q(device_offset_seconds__range=(-300, 300)),
            ),
        ]
        indexes = [models.Index(fields=["client", "service_date"], name="participation_by_client")]
        triggers = fixed("organization_id", "visit_id", "client_id", "episode_id")

    def __str__(self) -> str:
        return f"client {self.client_id} in {self.visit_id}"


class ParticipationNoteQuerySet(ScopedQuerySet):
    """Notes of parts of visits."""

    def standing(self) -> "ParticipationNoteQuerySet":
        """Those that are not in error."""
        return self.exclude(document__state=DocumentState.ENTERED_IN_ERROR.value)


class ParticipationNote(ScopedModel):
    """A participation's note by one professional; in co-treatment each writes her own.

    Another one of hers follows only one that was entered in error. `moved_from` is what was said of the note in
    which the same was written first, where it did not belong.
    """

    participation = models.ForeignKey(Participation, on_delete=models.PROTECT, related_name="notes", db_index=False)
    document = models.OneToOneField(Document, on_delete=models.PROTECT, related_name="participation_note")
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+", db_index=False)
    author = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    follows = models.ForeignKey(EnteredInError, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    moved_from = models.ForeignKey(
        EnteredInError, on_delete=models.PROTECT, related_name="+", null=True, db_index=False
    )

    objects = ParticipationNoteQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(
                fields=["participation", "author"],
                name="note_once_per_participation_and_author",
                condition=Q(follows__isnull=True),
            ),
            models.UniqueConstraint(fields=["follows"], name="note_follows_one_in_error_once"),
            models.UniqueConstraint(fields=["moved_from"], name="note_moved_once"),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"note of {self.participation_id}"


class StepQuerySet(ReachQuerySet):
    episode_path = "participation__episode_id"


class ParticipationChange(ScopedModel):
    """One step of a participation's status; what was undone, or entered in error, says why."""

    participation = models.ForeignKey(Participation, on_delete=models.PROTECT, related_name="changes")
    from_status = models.CharField(max_length=40, blank=True, default="")
    to_status = code_field(VisitStatus)
    effective_on = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True)
    reason = models.CharField(max_length=500, blank=True, default="", db_default="")

    objects = StepQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("to_status", VisitStatus, name="participation_change_status_is_known"),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.from_status} to {self.to_status}"


class Booking(ScopedModel):
    """One staff member, client or room place held for a half-open time; superseded once the visit was moved.

    Overlapped is what took place while it was held for another visit: it is recorded, and holds nothing.
    """

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="bookings")
    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="bookings", null=True, db_index=False)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="bookings", null=True, db_index=False)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="bookings", null=True, db_index=False)
    place = models.PositiveSmallIntegerField(null=True)
    during = DateTimeRangeField()
    live = models.BooleanField(default=True)
    superseded = models.BooleanField(default=False)
    overlapped = models.BooleanField(default=False, db_default=False)

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.CheckConstraint(
                name="booking_holds_exactly_one",
                condition=Q(staff__isnull=False, client__isnull=True, room__isnull=True, place__isnull=True)
                | Q(staff__isnull=True, client__isnull=False, room__isnull=True, place__isnull=True)
                | Q(staff__isnull=True, client__isnull=True, room__isnull=False, place__isnull=False),
            ),
            models.CheckConstraint(
                name="booking_time_is_bounded",
                condition=Q(during__isempty=False, during__lower_inf=False, during__upper_inf=False),
            ),
            models.CheckConstraint(
                name="booking_superseded_holds_nothing", condition=Q(superseded=False) | Q(live=False)
            ),
            models.CheckConstraint(
                name="booking_overlapped_holds_nothing", condition=Q(overlapped=False) | Q(live=False)
            ),
            ExclusionConstraint(
                name="booking_no_overlap_per_staff",
                expressions=[("staff", RangeOperators.EQUAL), ("during", RangeOperators.OVERLAPS)],
                condition=Q(live=True, staff__isnull=False),
            ),
            ExclusionConstraint(
                name="booking_no_overlap_per_client",
                expressions=[("client", RangeOperators.EQUAL), ("during", RangeOperators.OVERLAPS)],
                condition=Q(live=True, client__isnull=False),
            ),
            ExclusionConstraint(
                name="booking_no_overlap_per_room_place",
                expressions=[
                    ("room", RangeOperators.EQUAL),
                    ("place", RangeOperators.EQUAL),
                    ("during", RangeOperators.OVERLAPS),
                ],
                condition=Q(live=True, room__isnull=False, place__isnull=False),
            ),
        ]
        triggers = fixed("organization_id", "visit_id", "staff_id", "client_id", "room_id")

    def __str__(self) -> str:
        return f"booking of {self.visit_id}"


class VisitCorrection(ScopedModel):
    """When a visit that took place was said to have been, before it was put right: by whom, when and why."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="corrections")
    was_starts_at = models.DateTimeField()
    was_ends_at = models.DateTimeField()
    was_service_date = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    reason = models.CharField(max_length=500)

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.CheckConstraint(name="visit_correction_has_a_reason", condition=~Q(reason="")),
            models.CheckConstraint(
                name="visit_correction_was_in_order", condition=Q(was_ends_at__gt=F("was_starts_at"))
            ),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.visit_id} put right"
