"""The door to one's own password."""

from django.contrib.auth import update_session_auth_hash
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import StrictInput
from clinic.api.views import ApiView
from clinic.rules.access import Action
from clinic.rules.passwords import LONGEST
from clinic.services import passwords, pins


@example({"password": "a long phrase of her own", "new_password": "another long phrase of hers"})
class PasswordChangeIn(StrictInput):
    """The password so far, and the one from now on: at least 15 characters of any kind, spaces too."""

    password = serializers.CharField(max_length=LONGEST, trim_whitespace=False)
    new_password = serializers.CharField(max_length=LONGEST, trim_whitespace=False)


class OwnPassword(ApiView):
    """Change your own password. Every other session and every application's token of yours ends with the old one.

    At least 15 characters of any kind; what is expected of you (your name, your place of work, usual words, rows of
    keys) is refused. No mixture of kinds is asked for, and none ever expires. Misses are counted with those of the PIN.
    """

    resource = "me"
    act = "set_password"
    takes_key = False  # sent twice, the old password does not fit any more: nothing is kept that could be answered
    actions = {"POST": Action.CHANGE_SELF}
    inputs = {"POST": PasswordChangeIn}

    def post(self, request: Request) -> Response:
        wanted = self.read(PasswordChangeIn)
        # The password is asked first and its misses are counted in a transaction of their own.
        proof = pins.prove_password(actor=self.actor, password=wanted["password"], now=self.now)

        def do() -> Response:
            user = passwords.change_password(
                actor=self.actor, proof=proof, password=wanted["new_password"], now=self.now
            )
            if request.auth is None:
                update_session_auth_hash(request._request, user)
            return Response(status=204)

        return self.write(do)
