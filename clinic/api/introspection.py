"""An application with a secret asks whether a token of its own still holds (RFC 7662)."""

from typing import Any, ClassVar
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, JsonResponse
from oauth2_provider.views import IntrospectTokenView
from oauthlib.common import Request as OAuthRequest

from clinic.selectors.actors import issued_to


class Introspect(IntrospectTokenView):
    """Another's token is told as one that is none; a token in the address is not looked at."""

    http_method_names: ClassVar[list[str]] = ["post"]  # type: ignore[misc]
    asker = ""

    def authenticate_client(self, request: HttpRequest) -> bool:
        core = self.get_oauthlib_core()
        asked = OAuthRequest(request.path, "POST", urlencode(core.extract_body(request)), core.extract_headers(request))
        known = core.server.request_validator.authenticate_client(asked)
        self.asker = asked.client.client_id if known and asked.client.client_type == "confidential" else ""
        return bool(self.asker)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        token = request.POST.get("token")
        if token is not None and not issued_to(self.asker, token):
            return JsonResponse({"active": False})
        return self.get_token_response(token)
