"""The door that says who asks."""

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import word
from clinic.api.views import ApiView
from clinic.enums import Role
from clinic.rules.access import Action
from clinic.selectors import me as selectors


@example({"id": "0198a1f0-0000-7000-8000-0000000000aa", "name": "Alder Yard Therapy", "time_zone": "America/Chicago"})
class OwnOrganization(serializers.Serializer):
    """Where you work."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    time_zone = serializers.CharField()


@example(
    {
        "staff": "0198a1f0-0000-7000-8000-0000000000a1",
        "printed_name": "Ana Brightwater, OTA",
        "roles": ["assistant"],
        "organization": {
            "id": "0198a1f0-0000-7000-8000-0000000000aa",
            "name": "Alder Yard Therapy",
            "time_zone": "America/Chicago",
        },
        "today": "2026-03-03",
        "scopes": ["episodes:read", "notes:write"],
        "has_pin": True,
    }
)
class OwnRecord(serializers.Serializer):
    """Who you are here today, and what the application may do for you."""

    staff = serializers.UUIDField()
    printed_name = serializers.CharField()
    roles = serializers.ListField(child=word(Role))
    organization = OwnOrganization()
    today = serializers.DateField(help_text="The organization's day, on which your roles and your reach rest")
    scopes = serializers.ListField(
        child=serializers.CharField(), allow_null=True, help_text="null in a browser session, which is not narrowed"
    )
    has_pin = serializers.BooleanField()


class Me(ApiView):
    """Who you are here today: your name, roles, organization, the application's scopes, and whether you have a PIN."""

    resource = "me"
    actions = {"GET": Action.SEE_SELF}
    outputs = {"GET": OwnRecord}

    def get(self, request: Request) -> Response:
        return self.show(OwnRecord(self._told()).data)

    def _told(self) -> dict[str, Any]:
        actor, staff = self.actor, selectors.self_of(self.actor)
        return {
            "staff": staff.pk,
            "printed_name": staff.printed_name,
            "roles": sorted(actor.roles),
            "organization": staff.organization,
            "today": actor.today,
            "scopes": None if actor.scopes is None else sorted(actor.scopes),
            "has_pin": selectors.has_pin(staff),
        }
