"""What has changed since a tablet last asked, of what it may see now."""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.urls import Resolver404, resolve
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import StrictInput, Text
from clinic.api.pagination import opened, sealed
from clinic.api.views import ApiView
from clinic.enums import ChangeKind
from clinic.rules.access import Action, Relation, may, relations
from clinic.selectors.changes import Change, Position, changes_after, position_now

BASE = "/api/v1/"
MOST = 200
READ_AT_ONCE = 1000
READS = 5
# Where a record of each kind is read: the lists whose rows are what may be seen of it now.
LISTS: dict[str, tuple[str, ...]] = {
    "care_team": ("care-team/",),
    "certification": ("certifications/",),
    "client": ("clients/",),
    "consent": ("consents/",),
    "contact": ("contacts/",),
    "contact_authority": ("contact-authorities/",),
    "contracted_hours": ("contracted-hours/",),
    "court_order": ("court-orders/",),
    "credential": ("credentials/",),
    "document": ("notes/", "addenda/"),
    "document_reading": ("document-readings/",),
    "emergency_access": ("emergency-accesses/",),
    "episode": ("episodes/",),
    "episode_diagnosis": ("episode-diagnoses/",),
    "goal": ("goals/",),
    "note_template": ("note-templates/",),
    "participation": ("participations/",),
    "plan_period": ("plan-periods/",),
    "precaution": ("precautions/",),
    "reporting_period": ("reporting-periods/",),
    "review_item": ("review-items/",),
    "room": ("rooms/",),
    "scale": ("scales/",),
    "site": ("sites/",),
    "staff": ("staff/",),
    "succession": ("successions/",),
    "supervision": ("supervisions/",),
    "supervisory_contact": ("supervisory-contacts/",),
    "visit": ("visits/",),
}
# What everybody of the organization sees who may see it at all.
OF_ALL: dict[str, tuple[str, Action]] = {
    "organization": ("organization/", Action.SEE_ORGANIZATION),
    "staff_role": ("staff-roles/", Action.SEE_STAFF),
}
# What no device holds: it is read of one client at a time, by whoever answers for the record.
NOT_FOLLOWED = frozenset({"disclosure"})


@example({"since": "gAAAAABpy-invented-position"})
class ChangesSince(StrictInput):
    """From where on."""

    since = Text(max_length=400, required=False, help_text="`next` of the answer before; without it you begin now")


class ToldChange(serializers.Serializer):
    """One record that was made or changed: fetch it at its path."""

    change = serializers.ChoiceField(choices=[kind.value for kind in ChangeKind])
    record = serializers.CharField(help_text="What kind of record it is")
    id = serializers.UUIDField()
    path = serializers.CharField(help_text="Where it is read; its list where it is read there alone")
    client = serializers.UUIDField(allow_null=True)
    episode = serializers.UUIDField(allow_null=True)


class ReachRecord(serializers.Serializer):
    """Whose records are in reach now: what a device holds of anybody else, it drops; of new ones it fetches all."""

    whole_organization = serializers.BooleanField(help_text="Everybody's are: then the lists are empty")
    clients = serializers.ListField(child=serializers.UUIDField())
    episodes = serializers.ListField(child=serializers.UUIDField())


@example(
    {
        "changes": [
            {
                "change": "changed",
                "record": "participation",
                "id": "0198a1f0-0000-7000-8000-0000000000b1",
                "path": "/api/v1/participations/0198a1f0-0000-7000-8000-0000000000b1/",
                "client": "0198a1f0-0000-7000-8000-0000000000c1",
                "episode": "0198a1f0-0000-7000-8000-0000000000f1",
            }
        ],
        "next": "gAAAAABpy-invented-position",
        "more": False,
        "reach": {
            "whole_organization": False,
            "clients": ["0198a1f0-0000-7000-8000-0000000000c1"],
            "episodes": ["0198a1f0-0000-7000-8000-0000000000f1"],
        },
    }
)
class ChangesRecord(serializers.Serializer):
    """What has changed, where to go on, and what is in reach now."""

    changes = ToldChange(many=True)
    next = serializers.CharField(help_text="Send it as `since` next time")
    more = serializers.BooleanField(help_text="There is more already: ask again at once")
    reach = ReachRecord()


class Changes(ApiView):
    """What has changed since you last asked, of what you may see now

    Begin without `since`, then fetch the lists, then follow: each answer says where to go on. No change is missed,
    however many are written at once; one may be told twice. What is told are ids: the record itself is read at its
    path, as it is by then. `reach` names the clients and episodes in reach now. 410 `feed_restarted`: fetch everything
    anew and begin without `since`."""

    resource = "changes"
    act = "follow_changes"
    actions = {"GET": Action.FOLLOW_CHANGES}
    outputs = {"GET": ChangesRecord}
    filters = ChangesSince
    refuses = ("410",)

    def get(self, request: Request) -> Response:
        since = self.asked().get("since")
        found, end, more = self._since(since) if since else ([], position_now(), False)
        for change in found:
            self.touch(self._child(change), change.episode_id)
        told = {
            "changes": [self._told(change) for change in found],
            "next": sealed([end.transaction_id, end.seq], self._binding()),
            "more": more,
            "reach": self._reach(),
        }
        return self.show(ChangesRecord(told).data)

    def _binding(self) -> str:
        return f"changes of {self.actor.organization_id}"

    def _since(self, since: str) -> tuple[list[Change], Position, bool]:
        """A page of what is in reach of all that changed beyond; where it ends; whether there is more already."""
        end = Position(*opened(since, self._binding(), member="since"))
        self.paths: dict[UUID, str] = {}
        found: list[Change] = []
        for _ in range(READS):
            read = changes_after(self.actor.organization_id, end, limit=READ_AT_ONCE)
            self._find_paths(read)
            found += [change for change in read if change.record_id in self.paths]
            if len(found) > MOST:
                return found[:MOST], found[MOST - 1].position, True
            end = read[-1].position if read else end
            if len(read) < READ_AT_ONCE:
                return found, end, False
        return found, end, True

    def _told(self, change: Change) -> dict[str, Any]:
        return {
            "change": change.kind,
            "record": change.record_kind,
            "id": change.record_id,
            "path": self.paths[change.record_id],
            "client": self._child(change),
            "episode": change.episode_id,
        }

    def _child(self, change: Change) -> UUID | None:
        """Whose record it is of; a contact may stand beside a child out of reach as well."""
        return None if change.record_kind == "contact" else change.client_id

    # --- Reach is asked now, as the lists themselves ask it -----------------------------------------------------

    def _find_paths(self, read: Iterable[Change]) -> None:
        """Where each record is read that may be seen now; one that may not be has no path."""
        asked: dict[str, set[UUID]] = defaultdict(set)
        for change in read:
            asked[change.record_kind].add(change.record_id)
        for kind, ids in asked.items():
            if kind in OF_ALL:
                path, action = OF_ALL[kind]
                self._at(path, ids if may(self.actor, action) else set())
            for path in LISTS.get(kind, ()):
                self._at(path, self._rows(path).filter(pk__in=ids).values_list("pk", flat=True))

    def _at(self, path: str, ids: Iterable[UUID]) -> None:
        for row_id in ids:
            own = f"{BASE}{path}{row_id}/"
            self.paths[row_id] = own if _is_read_at(own) else f"{BASE}{path}"

    def _rows(self, path: str) -> Any:
        door = resolve(f"{BASE}{path}").func.view_class()  # type: ignore[attr-defined]
        door.actor, door.now, door.request, door.kwargs = self.actor, self.now, self.request, {}
        rows = door.rows({})
        return rows if may(self.actor, door.actions["GET"]) else rows.none()

    def _reach(self) -> dict[str, Any]:
        whole = Relation.ORGANIZATION in relations(self.actor, Action.SEE_EPISODES)
        return {
            "whole_organization": whole,
            "clients": [] if whole else list(self._rows("clients/").values_list("pk", flat=True)),
            "episodes": [] if whole else list(self._rows("episodes/").values_list("pk", flat=True)),
        }


def _is_read_at(path: str) -> bool:
    try:
        return "GET" in resolve(path).func.view_class.actions  # type: ignore[attr-defined]
    except Resolver404:
        return False
