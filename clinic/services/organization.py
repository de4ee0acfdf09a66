"""What administrators do to the organization, its sites and its rooms."""

from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, constraint_as_error
from clinic.models import Organization, Room, Site
from clinic.rules.access import Action, Actor
from clinic.selectors import organization as selectors
from clinic.services.changes import apply_changes
from clinic.services.references import named


class SiteNameTaken(Conflict):
    code = "site_name_taken"
    title = "Another site bears this name"


class RoomNameTaken(Conflict):
    code = "room_name_taken"
    title = "Another room of this site bears this name"


SITE_NAMES = {"site_name_once_per_organization": SiteNameTaken}
ROOM_NAMES = {"room_name_once_per_site": RoomNameTaken}


@transaction.atomic
def change_organization(*, actor: Actor, organization: Organization, **wanted: Any) -> Organization:
    """Change the organization's name, zone or terms; what is due already keeps its day."""
    apply_changes(organization, wanted)
    outbox.changed("organization", organization)
    return organization


@transaction.atomic
def enter_site(*, actor: Actor, site_id: UUID, digest: str, **wanted: Any) -> Site:
    """Enter a place of work."""
    with constraint_as_error(SITE_NAMES):
        site = Site.objects.create(pk=site_id, organization_id=actor.organization_id, created_digest=digest, **wanted)
    outbox.created("site", site)
    return site


@transaction.atomic
def change_site(*, actor: Actor, site: Site, **wanted: Any) -> Site:
    """Change a site's name or whereabouts."""
    with constraint_as_error(SITE_NAMES):
        apply_changes(site, wanted)
    outbox.changed("site", site)
    return site


@transaction.atomic
def enter_room(*, actor: Actor, room_id: UUID, site: UUID, digest: str, **wanted: Any) -> Room:
    """Enter a bookable room of a site."""
    place = named(selectors.sites_for(actor, Action.CHANGE_ORGANIZATION), site, member="site")
    with constraint_as_error(ROOM_NAMES):
        room = Room.objects.create(
            pk=room_id, organization_id=actor.organization_id, site=place, created_digest=digest, **wanted
        )
    outbox.created("room", room)
    return room


@transaction.atomic
def change_room(*, actor: Actor, room: Room, **wanted: Any) -> Room:
    """Change a room's name, or how many places it has."""
    with constraint_as_error(ROOM_NAMES):
        apply_changes(room, wanted)
    outbox.changed("room", room)
    return room
