"""Doors to the organization's own scales."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Name, StrictInput, Text
from clinic.api.views import ChangeDoor, ListDoor
from clinic.rules.access import Action
from goals.models import OrderedScale
from goals.selectors import scales as selectors
from goals.services import scales as services

SCALE = {"name": "Accepting a new food", "levels": ["not in sight", "in sight", "near", "touches", "licks", "bites"]}


@example(SCALE)
class ScaleIn(StrictInput):
    """Named levels, lowest first; once recorded they stay."""

    name = Name(max_length=200)
    levels = serializers.ListField(child=Text(max_length=100), min_length=2, max_length=50)

    def validate_levels(self, levels: list[str]) -> list[str]:
        if len(set(levels)) < len(levels):
            raise serializers.ValidationError("Each level stands once", code="name_twice")
        return levels


@example({"name": "Accepting a new food at home"})
class ScaleChangeIn(StrictInput):
    """Another name."""

    name = Name(max_length=200, required=False)


class ScaleRecord(serializers.Serializer):
    """A scale of the organization."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    name = serializers.CharField()
    levels = serializers.ListField(child=serializers.CharField())


class ScaleList(ListDoor):
    """The organization's scales."""

    resource = "scales"
    actions = {"GET": Action.SEE_GOALS}
    outputs = {"GET": ScaleRecord}
    order = ("name", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.scales_for(self.actor)


class ScaleDetail(ChangeDoor):
    """One scale."""

    resource = "scales"
    actions = {"GET": Action.SEE_GOALS, "PUT": Action.WRITE_GOALS, "PATCH": Action.WRITE_GOALS}
    inputs = {"PUT": ScaleIn, "PATCH": ScaleChangeIn}
    outputs = {"GET": ScaleRecord, "PUT": ScaleRecord, "PATCH": ScaleRecord}
    told_as = {"GET": "One scale", "PUT": "Add a scale, or give it another name", "PATCH": "Give a scale another name"}
    form = ScaleIn
    change_form = ScaleChangeIn

    def find(self, row_id: UUID) -> OrderedScale:
        return selectors.scale_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> OrderedScale:
        return selectors.scale_for(self.actor, row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.scale_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> OrderedScale:
        return services.add_scale(actor=self.actor, scale_id=row_id, digest=digest, **wanted)

    def change(self, row: OrderedScale, wanted: dict[str, Any]) -> OrderedScale:
        return services.change_scale(scale=row, **wanted)
