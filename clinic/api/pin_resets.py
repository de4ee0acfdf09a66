"""The doors of a signing PIN that was lost, and of one's own signatures."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Instant, Pattern, StrictInput, Text, word
from clinic.api.views import ApiView, ListDoor
from clinic.enums import SignatureMeaning
from clinic.models import Signature
from clinic.rules.access import Action
from clinic.selectors import pin_resets as selectors
from clinic.selectors.staff import staff_member_for
from clinic.services import pin_resets as services
from clinic.services import pins


@example({})
class PinResetIn(StrictInput):
    """Nothing more is said."""


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000f7",
        "staff": "0198a1f0-0000-7000-8000-0000000000a1",
        "started_at": "2026-03-03T18:00:00Z",
        "expires_at": "2026-03-04T18:00:00Z",
    }
)
class PinResetRecord(serializers.Serializer):
    """A code that was sent to its owner. Whoever started it does not learn it."""

    id = serializers.UUIDField()
    staff = serializers.UUIDField(source="staff_id")
    started_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()


@example({"password": "a long phrase of her own", "code": "7Q4M-0VXK", "pin": "580213"})
class PinByCodeIn(StrictInput):
    """The account's password, the code from the letter, and the PIN that shall sign from now on: 6 to 12 digits."""

    password = serializers.CharField(max_length=200, trim_whitespace=False)
    code = Text(max_length=20)
    pin = Pattern(r"^[0-9]{1,20}\Z", max_length=20)


@example({"signed_from": "2026-03-03T18:00:00Z", "signed_until": "2026-03-04T18:00:00Z"})
class SignatureFilter(StrictInput):
    signed_from = Instant(required=False, help_text="Signed at this time or later")
    signed_until = Instant(required=False, help_text="Signed before this time")


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000f8",
        "document": "0198a1f0-0000-7000-8000-0000000000d1",
        "version": 1,
        "meaning": "authorship",
        "signed_at": "2026-03-03T18:00:00Z",
        "application": "session",
    }
)
class OwnSignatureRecord(serializers.Serializer):
    """One signature in your name."""

    id = serializers.UUIDField()
    document = serializers.UUIDField(source="version.document_id")
    version = serializers.IntegerField(source="version.number")
    meaning = word(SignatureMeaning)
    signed_at = serializers.DateTimeField()
    application = serializers.CharField()


class ResetPin(ApiView):
    """Start another signing PIN for somebody who lost hers.

    A code goes to the address that she entered herself, and nobody else sees it; she is told in the service as well.
    With her password and the code she sets the new PIN within 24 hours. What is signed in the day after that is listed
    to her. A code that was sent before is good no more.
    """

    resource = "staff"
    act = "reset_pin"
    actions = {"POST": Action.RESET_PINS}
    inputs = {"POST": PinResetIn}
    outputs = {"POST": PinResetRecord}

    def post(self, request: Request, id: UUID) -> Response:
        self.read(PinResetIn)
        return self.write(lambda: self._start(id))

    def ask_reach_again(self, kept: Response) -> None:
        staff_member_for(self.actor, self.kwargs["id"], Action.RESET_PINS)

    def _start(self, staff_id: UUID) -> Response:
        staff = staff_member_for(self.actor, staff_id, Action.RESET_PINS, lock=True)
        reset = services.start(actor=self.actor, staff=staff, now=self.now)
        return self.show(PinResetRecord(reset).data)


class OwnPinByCode(ApiView):
    """Set a new signing PIN with the code that was sent to you. Five wrong codes end it."""

    resource = "me"
    act = "set_pin_by_code"
    takes_key = False  # sent twice, the code is used up: nothing is kept that could be answered
    actions = {"POST": Action.CHANGE_SELF}
    inputs = {"POST": PinByCodeIn}

    def post(self, request: Request) -> Response:
        wanted = self.read(PinByCodeIn)
        # Password and code are asked first; their misses are counted in transactions of their own.
        proof = pins.prove_password(actor=self.actor, password=wanted["password"], now=self.now)
        reset_id = services.require_code(actor=self.actor, code=wanted["code"], now=self.now)

        def do() -> Response:
            services.use(actor=self.actor, reset_id=reset_id, proof=proof, pin=wanted["pin"], now=self.now)
            return Response(status=204)

        return self.write(do)


class OwnSignatures(ListDoor):
    """What was signed in your name, newest first."""

    resource = "signatures"
    actions = {"GET": Action.SEE_SELF}
    outputs = {"GET": OwnSignatureRecord}
    filters = SignatureFilter
    order = ("-signed_at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.own_signatures(self.actor, **asked)

    def touch_row(self, row: Signature) -> None:
        document = row.version.document
        self.touch(document.client_id, document.episode_id)
