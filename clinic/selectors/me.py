"""What a person may know of herself."""

from clinic.models import Staff
from clinic.rules.access import Actor


def self_of(actor: Actor) -> Staff:
    """Her own row, with her organization and her signing PIN where she has set one."""
    return Staff.objects.select_related("organization", "signing_pin").get(pk=actor.person)


def has_pin(staff: Staff) -> bool:
    """Misses of the password begin a row as well: a PIN is there once it was set."""
    return hasattr(staff, "signing_pin") and staff.signing_pin.hash != ""
