"""The door to one's own mail address."""

from django.core.validators import EmailValidator
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import StrictInput, Text
from clinic.api.views import ApiView
from clinic.rules.access import Action
from clinic.services import addresses, pins


@example({"password": "a long phrase of her own", "email": "ana@people.example"})
class AddressIn(StrictInput):
    """The account's password, and where letters go from now on."""

    password = serializers.CharField(max_length=200, trim_whitespace=False)
    email = Text(max_length=254, validators=[EmailValidator()])


class OwnAddress(ApiView):
    """Set your own mail address, to which codes and warnings are sent.

    Nobody else can set it, not even an administrator. Misses of the password are counted with those of the PIN.
    """

    resource = "me"
    act = "set_email"
    actions = {"POST": Action.CHANGE_SELF}
    inputs = {"POST": AddressIn}

    def post(self, request: Request) -> Response:
        wanted = self.read(AddressIn)
        proof = pins.prove_password(actor=self.actor, password=wanted["password"], now=self.now)

        def do() -> Response:
            addresses.set_address(actor=self.actor, proof=proof, email=wanted["email"])
            return Response(status=204)

        return self.write(do)
