"""A person allows an application to act for her, each time anew."""

from typing import Any
from urllib.parse import urlsplit

from django.http import HttpRequest, HttpResponse
from oauth2_provider.views import AuthorizationView


class Consent(AuthorizationView):
    """The consent page. An application that was allowed before is asked about again."""

    template_name = "clinic/consent.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        asked = request.GET.copy()
        asked.pop("approval_prompt", None)  # "auto" would skip the page
        request.GET = asked  # type: ignore[assignment]
        return super().get(request, *args, **kwargs)

    def render_to_response(self, context: dict[str, Any], **options: Any) -> HttpResponse:
        """The browser is let through to the registered address after the form, and to no other."""
        response = super().render_to_response(context, **options)
        if context.get("redirect_uri") and not context.get("error"):
            target = urlsplit(context["redirect_uri"])
            response._csp_update = {"form-action": [f"{target.scheme}://{target.netloc}"]}
        return response
