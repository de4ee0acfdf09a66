"""The children, who stands beside them, what was agreed, and what must not be done."""

from datetime import date
from typing import Any

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, RangeOperators
from django.db import models
from django.db.models import Exists, F, Func, OuterRef, Q, Value

from clinic.enums import AuthorityKind, ConsentKind, ContactChannel, PrecautionKind, PrecautionSource, Relationship
from clinic.models.base import (
    DAYS,
    ClientPeriodQuerySet,
    VersionedModel,
    code_field,
    ends_after_start,
    one_of,
)
from clinic.models.organization import Site
from clinic.models.reach import ClientQuerySet, ClientRowQuerySet, ScopedQuerySet, reach_of_episodes
from clinic.models.staff import Staff
from clinic.rules.access import Action, Actor, Relation, may, relations

# What is left of a name once case, accents, spaces, hyphens and apostrophes are; letters that Unicode takes for ones of
# their own are read as those that people type for them.
FOLD = (
    "lower(translate(regexp_replace(replace(normalize(%(expressions)s, NFKD), 'ß', 'ss'), "
    "'[\\u0300-\\u036f[:space:]\\u2010-\\u2015\\u2018\\u2019''-]', '', 'g'), 'ŁłØøĐđĦħıÐðÞþ', 'LlOoDdHhiDdTt'))"
)


def folded(name: Any) -> Func:
    """A name as it is compared."""
    return Func(name, template=FOLD, output_field=models.TextField())


class Client(VersionedModel):
    """A child whom the organization serves."""

    home_site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="clients")
    given_name = models.CharField(max_length=100)
    family_name = models.CharField(max_length=100)
    preferred_name = models.CharField(max_length=100, blank=True, default="")
    birth_date = models.DateField()
    gestation_weeks = models.PositiveSmallIntegerField(null=True)
    gestation_days = models.PositiveSmallIntegerField(null=True)
    entered_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)

    objects = ClientQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.CheckConstraint(
                name="client_gestation_is_possible",
                condition=Q(gestation_weeks__isnull=True, gestation_days__isnull=True)
                | Q(gestation_weeks__isnull=False, gestation_weeks__range=(20, 45), gestation_days__isnull=True)
                | Q(
                    gestation_weeks__isnull=False,
                    gestation_weeks__range=(20, 45),
                    gestation_days__isnull=False,
                    gestation_days__range=(0, 6),
                ),
            ),
        ]
        indexes = [
            models.Index(fields=["organization", "birth_date"], name="client_by_birth_date"),
            models.Index(F("organization"), folded(F("family_name")), name="client_by_family_name_folded"),
        ]

    def __str__(self) -> str:
        return f"client {self.pk}"


class ContactQuerySet(ScopedQuerySet):
    """People beside children in reach; one who stands beside nobody yet is there for whoever entered her."""

    def visible_to(self, actor: Actor, action: Action) -> "ContactQuerySet":
        mine = self.of(actor)
        if Relation.ORGANIZATION in relations(actor, action):
            return mine
        beside = ContactAuthority.objects.filter(contact=OuterRef("pk"))
        reached = Exists(beside.visible_to(actor, action))
        if may(actor, Action.CHANGE_CLIENTS):
            return mine.filter(reached | Q(entered_by_id=actor.staff_id) & ~Exists(beside))
        return mine.filter(reached)


class Contact(VersionedModel):
    """A person beside a child: parent, guardian, foster parent, teacher."""

    name = models.CharField(max_length=200)
    language = models.CharField(max_length=35, default="en")
    phone = models.CharField(max_length=40, blank=True, default="")
    email = models.CharField(max_length=254, blank=True, default="")
    may_be_messaged = models.BooleanField(default=False)
    channels = ArrayField(models.CharField(max_length=20), default=list, db_default=Value("{}"), blank=True)
    entered_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)

    objects = ContactQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.CheckConstraint(
                name="contact_channels_are_known",
                condition=Q(channels__contained_by=[channel.value for channel in ContactChannel]),
            ),
        ]

    def __str__(self) -> str:
        return f"contact {self.pk}"


class ContactAuthority(VersionedModel):
    """What a contact may decide, know or do for one child, from a day to a day."""

    contact = models.ForeignKey(Contact, on_delete=models.PROTECT, related_name="authorities")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="authorities")
    relationship = code_field(Relationship)
    kind = code_field(AuthorityKind)
    court_order = models.BooleanField(default=False)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)

    objects = ClientPeriodQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("kind", AuthorityKind, name="contact_authority_kind_is_known"),
            one_of("relationship", Relationship, name="contact_relationship_is_known"),
            ends_after_start("contact_authority_ends_after_start"),
            # Held twice, an authority that a court ends once would go on.
            ExclusionConstraint(
                name="contact_authority_no_overlap",
                expressions=[
                    ("contact", RangeOperators.EQUAL),
                    ("client", RangeOperators.EQUAL),
                    ("kind", RangeOperators.EQUAL),
                    (DAYS, RangeOperators.OVERLAPS),
                ],
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.contact_id}"


class ConsentQuerySet(ClientRowQuerySet):
    """Consents of a child; one for an episode is reached as that episode is."""

    def visible_to(self, actor: Actor, action: Action) -> "ConsentQuerySet":
        of_episode = Q(episode__isnull=True) | reach_of_episodes(actor, action, path="episode_id")
        return super().visible_to(actor, action).filter(of_episode)

    def in_force(self, day: date) -> "ConsentQuerySet":
        """Those that hold on a day: begun, not run out, and not taken back by then."""
        return self.filter(
            Q(ends_on__isnull=True) | Q(ends_on__gte=day),
            Q(revoked_on__isnull=True) | Q(revoked_on__gt=day),
            starts_on__lte=day,
        )


class Consent(VersionedModel):
    """What was consented to, by whom, from when, until when, and when it was taken back, by whom.

    Whoever gives it or takes it back has the authority on that day, or what is told instead stands in the exception.
    """

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="consents")
    episode = models.ForeignKey("clinic.Episode", on_delete=models.PROTECT, null=True, related_name="consents")
    kind = code_field(ConsentKind)
    given_by = models.ForeignKey(Contact, on_delete=models.PROTECT, related_name="consents")
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)
    exception = models.CharField(max_length=500, blank=True, default="", db_default="")
    revoked_on = models.DateField(null=True)
    revoked_by = models.ForeignKey(Contact, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    revocation_exception = models.CharField(max_length=500, blank=True, default="", db_default="")

    objects = ConsentQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("kind", ConsentKind, name="consent_kind_is_known"),
            ends_after_start("consent_ends_after_start"),
            models.CheckConstraint(
                name="consent_revoked_after_start",
                condition=Q(revoked_on__isnull=True) | Q(revoked_on__gte=F("starts_on")),
            ),
            models.CheckConstraint(
                name="consent_revoked_says_the_day",
                condition=Q(revoked_on__isnull=False) | Q(revoked_by__isnull=True, revocation_exception=""),
            ),
        ]
        indexes = [models.Index(fields=["client", "kind"], name="consent_by_client")]

    def __str__(self) -> str:
        return f"{self.kind} from {self.starts_on}"


class PrecautionQuerySet(ClientRowQuerySet):
    def live_on(self, day: date) -> "PrecautionQuerySet":
        """Those to be heeded on a day; from the day on which one is lifted it no longer is."""
        return self.filter(Q(lifted_on__isnull=True) | Q(lifted_on__gt=day), starts_on__lte=day)


class Precaution(VersionedModel):
    """What must not be done with a child, or only with care; who set it and who may lift it."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="precautions")
    kind = code_field(PrecautionKind)
    text = models.CharField(max_length=1000)
    refused = ArrayField(models.CharField(max_length=40), default=list, blank=True)
    warned = ArrayField(models.CharField(max_length=40), default=list, blank=True)
    set_by = code_field(PrecautionSource)
    may_be_lifted_by = code_field(PrecautionSource)
    starts_on = models.DateField()
    recorded_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    lifted_on = models.DateField(null=True)
    lifted_by = code_field(PrecautionSource, null=True)
    lifted_recorded_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True)

    objects = PrecautionQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("kind", PrecautionKind, name="precaution_kind_is_known"),
            one_of("set_by", PrecautionSource, name="precaution_setter_is_known"),
            one_of("may_be_lifted_by", PrecautionSource, name="precaution_lifter_is_known"),
            models.CheckConstraint(
                name="precaution_lifted_says_by_whom",
                condition=Q(lifted_on__isnull=True, lifted_by__isnull=True, lifted_recorded_by__isnull=True)
                | Q(
                    lifted_on__isnull=False,
                    lifted_on__gte=F("starts_on"),
                    lifted_by__isnull=False,
                    lifted_by=F("may_be_lifted_by"),
                    lifted_recorded_by__isnull=False,
                ),
            ),
        ]
        indexes = [models.Index(fields=["client"], name="precaution_live", condition=Q(lifted_on__isnull=True))]

    def __str__(self) -> str:
        return f"{self.kind} precaution from {self.starts_on}"
