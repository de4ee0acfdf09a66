"""How children are shown who could be taken for another one, and the door that names them."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.views import ApiView
from clinic.rules.access import Action
from clinic.selectors import clients
from clinic.selectors.look_alikes import look_alikes_of

TWIN = {
    "client": "0198a1f0-0000-7000-8000-0000000000c2",
    "given_name": "Teo",
    "family_name": "Oduya",
    "preferred_name": "",
    "birth_date": "2021-05-17",
    "same": ["birth_date", "family_name"],
}


@example(TWIN)
class LookAlikeRecord(serializers.Serializer):
    """Another child in your reach who could be taken for this one, and in what they are the same."""

    client = serializers.UUIDField(source="pk")
    given_name = serializers.CharField()
    family_name = serializers.CharField()
    preferred_name = serializers.CharField()
    birth_date = serializers.DateField()
    same = serializers.SerializerMethodField()

    def get_same(self, row: Any) -> list[str]:
        return [name for name in ("birth_date", "family_name", "given_name") if getattr(row, f"same_{name}")]


@example({"client": "0198a1f0-0000-7000-8000-0000000000c1", "look_alikes": [TWIN]})
class LookAlikesRecord(serializers.Serializer):
    """Whom this child could be taken for, the most alike first."""

    client = serializers.UUIDField()
    look_alikes = LookAlikeRecord(many=True)


class LookAlikes(ApiView):
    """Children in your reach who could be taken for this one: twins, the same birth date, the same family name

    Names are compared without case, accents, spaces, hyphens and apostrophes. At most ten, the most alike first."""

    resource = "clients"
    act = "look_alikes"
    actions = {"GET": Action.SEE_CLIENTS}
    outputs = {"GET": LookAlikesRecord}

    def get(self, request: Request, id: UUID) -> Response:
        client = clients.client_for(self.actor, id)
        found = look_alikes_of(self.actor, client)
        for row in (client, *found):
            self.touch(row.pk)
        return self.show(LookAlikesRecord({"client": client.pk, "look_alikes": found}).data)
