"""Doors to the organization, its sites and its rooms."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Flag, Id, Name, StrictInput, Whole, ZoneName, country, subdivision
from clinic.api.views import ApiView, ChangeDoor, ListDoor
from clinic.models import Organization, Room, Site
from clinic.rules.access import Action
from clinic.selectors import organization as selectors
from clinic.selectors.rows import one
from clinic.services import organization as services

PLACE = {"name": "Alder Yard, north wing", "time_zone": "America/Chicago", "country": "US", "subdivision": "IL"}
TERMS = {
    "sign_within_business_days": 2,
    "cosign_within_days": 7,
    "cosignature_required": True,
    "corrected_age_until_months": 24,
    "care_team_days_before_booking": 7,
}
SPACE = {"site": "0198a1f0-0000-7000-8000-000000000001", "name": "Swing room", "places": 2}


class PlaceIn(StrictInput):
    """A name, and where the clock and the holidays come from."""

    name = Name(max_length=200)
    time_zone = ZoneName()
    country = country()
    subdivision = subdivision(required=False, allow_blank=True)


@example({"cosign_within_days": 10})
class OrganizationChangeIn(PlaceIn):
    """The members to change; those left out stay as they are."""

    sign_within_business_days = Whole(min_value=0, max_value=60)
    cosign_within_days = Whole(min_value=0, max_value=365)
    cosignature_required = Flag()
    corrected_age_until_months = Whole(min_value=0, max_value=216)
    care_team_days_before_booking = Whole(min_value=0, max_value=60)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, partial=True, **options)


@example({"id": "0198a1f0-0000-7000-8000-0000000000aa", "version": 1, **PLACE, **TERMS})
class OrganizationRecord(serializers.Serializer):
    """Whose record it is, with its terms."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    name = serializers.CharField()
    time_zone = serializers.CharField()
    country = serializers.CharField()
    subdivision = serializers.CharField()
    sign_within_business_days = serializers.IntegerField()
    cosign_within_days = serializers.IntegerField()
    cosignature_required = serializers.BooleanField()
    corrected_age_until_months = serializers.IntegerField()
    care_team_days_before_booking = serializers.IntegerField()


@example(PLACE)
class SiteIn(PlaceIn):
    """A place of work with a zone of its own."""


@example({"name": "Alder Yard, south wing"})
class SiteChangeIn(PlaceIn):
    """The members to change; those left out stay as they are."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, partial=True, **options)


@example({"id": "0198a1f0-0000-7000-8000-000000000001", "version": 1, **PLACE})
class SiteRecord(serializers.Serializer):
    """A place of work."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    name = serializers.CharField()
    time_zone = serializers.CharField()
    country = serializers.CharField()
    subdivision = serializers.CharField()


@example(SPACE)
class RoomIn(StrictInput):
    """A bookable space with a number of places."""

    site = Id()
    name = Name(max_length=200)
    places = Whole(min_value=1, max_value=200, required=False)


@example({"places": 3})
class RoomChangeIn(StrictInput):
    """The members to change; those left out stay as they are."""

    name = Name(max_length=200, required=False)
    places = Whole(min_value=1, max_value=200, required=False)


@example({"id": "0198a1f0-0000-7000-8000-000000000011", "version": 1, **SPACE})
class RoomRecord(serializers.Serializer):
    """A bookable space."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    site = serializers.UUIDField(source="site_id")
    name = serializers.CharField()
    places = serializers.IntegerField()


@example({"site": "0198a1f0-0000-7000-8000-000000000001"})
class RoomFilter(StrictInput):
    site = Id(required=False)


class OrganizationDetail(ApiView):
    """Your organization and its terms."""

    resource = "organization"
    actions = {"GET": Action.SEE_ORGANIZATION, "PATCH": Action.CHANGE_ORGANIZATION}
    inputs = {"PATCH": OrganizationChangeIn}
    outputs = {"GET": OrganizationRecord, "PATCH": OrganizationRecord}
    told_as = {"PATCH": "Change the organization's name, zone or terms"}
    changes_version = True

    def get(self, request: Request) -> Response:
        row = selectors.organization_of(self.actor)
        return self.show_unless_known(row.version, lambda: OrganizationRecord(row).data)

    def present(self) -> Response | None:
        row = selectors.organization_of(self.actor)
        return self.show(OrganizationRecord(row).data, version=row.version)

    def patch(self, request: Request) -> Response:
        wanted = self.read(OrganizationChangeIn)
        return self.write(lambda: self._change(wanted))

    def _change(self, wanted: dict[str, Any]) -> Response:
        row: Organization = selectors.organization_of(self.actor, lock=True)
        self.require_match(row.version)
        row = services.change_organization(actor=self.actor, organization=row, **wanted)
        return self.show(OrganizationRecord(row).data, version=row.version)


class SiteList(ListDoor):
    """The organization's places of work, by name."""

    resource = "sites"
    actions = {"GET": Action.SEE_ORGANIZATION}
    outputs = {"GET": SiteRecord}
    order = ("name", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.sites_for(self.actor)


class SiteDetail(ChangeDoor):
    """One place of work."""

    resource = "sites"
    actions = {
        "GET": Action.SEE_ORGANIZATION,
        "PUT": Action.CHANGE_ORGANIZATION,
        "PATCH": Action.CHANGE_ORGANIZATION,
    }
    inputs = {"PUT": SiteIn, "PATCH": SiteChangeIn}
    outputs = {"GET": SiteRecord, "PUT": SiteRecord, "PATCH": SiteRecord}
    told_as = {
        "GET": "One place of work",
        "PUT": "Enter a place of work, or replace what is known of it",
        "PATCH": "Change some of what is known of a place of work",
    }
    form = SiteIn
    change_form = SiteChangeIn

    def find(self, row_id: UUID) -> Site:
        return one(selectors.sites_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> Site:
        return one(selectors.sites_for(self.actor, Action.CHANGE_ORGANIZATION), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.site_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Site:
        return services.enter_site(actor=self.actor, site_id=row_id, digest=digest, **wanted)

    def change(self, row: Site, wanted: dict[str, Any]) -> Site:
        return services.change_site(actor=self.actor, site=row, **wanted)


class RoomList(ListDoor):
    """The organization's bookable rooms, by name."""

    resource = "rooms"
    actions = {"GET": Action.SEE_ORGANIZATION}
    outputs = {"GET": RoomRecord}
    filters = RoomFilter
    order = ("name", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.rooms_for(self.actor, **asked)


class RoomDetail(ChangeDoor):
    """One bookable room."""

    resource = "rooms"
    actions = {
        "GET": Action.SEE_ORGANIZATION,
        "PUT": Action.CHANGE_ORGANIZATION,
        "PATCH": Action.CHANGE_ORGANIZATION,
    }
    inputs = {"PUT": RoomIn, "PATCH": RoomChangeIn}
    outputs = {"GET": RoomRecord, "PUT": RoomRecord, "PATCH": RoomRecord}
    told_as = {
        "GET": "One bookable room",
        "PUT": "Enter a room, or replace what is known of it; it stays at its site",
        "PATCH": "Change a room's name or places",
    }
    form = RoomIn
    change_form = RoomChangeIn

    def find(self, row_id: UUID) -> Room:
        return one(selectors.rooms_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> Room:
        return one(selectors.rooms_for(self.actor, Action.CHANGE_ORGANIZATION), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.room_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Room:
        return services.enter_room(actor=self.actor, room_id=row_id, digest=digest, **wanted)

    def change(self, row: Room, wanted: dict[str, Any]) -> Room:
        return services.change_room(actor=self.actor, room=row, **wanted)
