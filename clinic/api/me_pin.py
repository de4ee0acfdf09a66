"""The door to one's own signing PIN."""

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Pattern, StrictInput
from clinic.api.views import ApiView
from clinic.rules.access import Action
from clinic.services import pins


@example({"password": "a long phrase of her own", "pin": "580213"})
class PinChangeIn(StrictInput):
    """The account's password, the PIN so far if there is one, and the one from now on: 6 to 12 digits."""

    password = serializers.CharField(max_length=200, trim_whitespace=False)
    current_pin = Pattern(r"^[0-9]{1,20}\Z", max_length=20, required=False, help_text="Needed where a PIN is set")
    pin = Pattern(r"^[0-9]{1,20}\Z", max_length=20)


class OwnPin(ApiView):
    """Set your own signing PIN. Forms that are easily guessed are refused; a locked one is not changed.

    Whoever has one gives it. If it is lost, an administrator starts another, and a code comes by mail.
    """

    resource = "me"
    act = "set_pin"
    actions = {"POST": Action.CHANGE_SELF}
    inputs = {"POST": PinChangeIn}

    def post(self, request: Request) -> Response:
        wanted = self.read(PinChangeIn)
        # The password is asked first and its misses are counted in a transaction of their own.
        proof = pins.prove_password(actor=self.actor, password=wanted["password"], now=self.now)
        pins.prove_present(actor=self.actor, pin=wanted.get("current_pin"), now=self.now)

        def do() -> Response:
            pins.set_pin(actor=self.actor, proof=proof, pin=wanted["pin"], now=self.now)
            return Response(status=204)

        return self.write(do)
