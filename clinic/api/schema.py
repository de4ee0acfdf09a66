"""How the doors describe themselves in OpenAPI 3.1: from the names, forms and actions that they declare."""

import re
from datetime import datetime
from typing import Any, Literal

from drf_spectacular.authentication import SessionScheme
from drf_spectacular.contrib.django_oauth_toolkit import DjangoOAuthToolkitScheme
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse
from rest_framework import serializers

from clinic.api_description import enums

VERBS = {"GET": "get", "PUT": "put", "PATCH": "change", "POST": "create", "DELETE": "delete"}
PROBLEMS = {
    "GET": ["400", "401", "403", "404", "406", "429", "503"],
    "PUT": ["400", "401", "403", "404", "406", "409", "411", "412", "413", "415", "422", "428", "429", "503"],
    "PATCH": ["400", "401", "403", "404", "406", "409", "411", "412", "413", "415", "422", "428", "429", "503"],
    "POST": ["400", "401", "403", "404", "406", "409", "411", "412", "413", "415", "422", "428", "429", "503"],
    "DELETE": ["400", "401", "403", "404", "406", "409", "412", "422", "428", "429", "503"],
}


class ProblemError(serializers.Serializer):
    """One fault of a request: where, which, in words."""

    pointer = serializers.CharField(help_text="JSON pointer (RFC 6901) of the member")
    code = serializers.CharField()
    detail = serializers.CharField()


class Problem(serializers.Serializer):
    """Problem details (RFC 9457). Codes are stable; further members carry the facts of the refusal."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.CharField()
    request_id = serializers.CharField()
    detail = serializers.CharField(required=False)
    errors = ProblemError(many=True, required=False)  # type: ignore[assignment]
    current_etag = serializers.CharField(required=False, help_text="409, 412, 428: the ETag of the present version")
    current = serializers.DictField(required=False, help_text="409, 412, 428: the row as a read shows it now")
    sent = serializers.DictField(required=False, help_text="Beside `current`, to PUT and PATCH: what was sent")
    existing_id = serializers.UUIDField(required=False, help_text="409: the row that stands in its place")
    retry_after = serializers.IntegerField(required=False, help_text="429: seconds to wait")


class ServiceSchema(AutoSchema):
    """Reads `resource`, `act`, `actions`, `inputs`, `outputs` and `filters` of a door."""

    view: Any

    def get_operation_id(self) -> str:
        act = self.view.act or ("list" if self._is_list() and self.method == "GET" else VERBS[self.method])
        return f"{self.view.resource}_{act}"

    def get_tags(self) -> list[str]:
        return [self.view.resource]

    def get_summary(self) -> str:
        return self._words()[0].rstrip(".")

    def get_description(self) -> str:  # type: ignore[override]
        action = self.view.actions.get(self.method)
        return "\n\n".join([*self._words(), f"Action: `{action}`."])

    def _words(self) -> list[str]:
        handler = getattr(self.view, self.method.lower())
        told = getattr(self.view, "told_as", {}).get(self.method) or handler.__doc__ or type(self.view).__doc__ or ""
        paragraphs = [re.sub(r"\s+", " ", part).strip() for part in told.strip().split("\n\n")]
        return [part for part in paragraphs if part] or [self.get_operation_id().replace("_", " ")]

    def _is_list(self) -> bool:
        from clinic.api.views import ListDoor

        return isinstance(self.view, ListDoor)

    def get_request_serializer(self) -> Any:
        form = self.view.inputs.get(self.method)
        return form() if form else None

    def get_response_serializers(self) -> Any:
        form = self.view.outputs.get(self.method)
        status = {"POST": getattr(self.view, "status", 200)}.get(self.method, 200)
        if form is None:
            return {204: None}
        if self._is_list() and self.method == "GET":
            return {200: page_form(form)}
        answers = {status: form()}
        if self.method == "PUT":
            answers[201] = form()
        return answers

    def get_filter_backends(self) -> list:
        return []

    def get_examples(self) -> list[OpenApiExample]:
        return []

    def get_override_parameters(self) -> list[Any]:
        found: list[Any] = [*self._query_parameters()]
        if self.method == "PUT" or self.view.changes_version:
            found.append(self._header("If-Match", "The ETag of the version being changed"))
        if self.method == "PUT":
            found.append(self._header("If-None-Match", "`*` to create only"))
        if self.method == "GET" and not self._is_list():
            found.append(self._header("If-None-Match", "The ETag last seen: unchanged answers 304"))
        if self.method == "POST" and self.view.takes_key:
            text = "8 to 100 characters; a repeat gets the first answer"
            found.append(self._header("Idempotency-Key", text, required=self.view.key_required))
        if self.method in ("PUT", "PATCH"):
            text = "With `If-Match`: 8 to 100 characters; a repeat gets the first answer"
            found.append(self._header("Idempotency-Key", text))
        if self.method in self.view.observes:
            text = "The device's clock as it sends: times are put right by as much as it is off, and flagged"
            found.append(OpenApiParameter("Device-Time", datetime, OpenApiParameter.HEADER, description=text))
        return found

    def _query_parameters(self) -> list[Any]:
        found: list[Any] = []
        if self.method == "GET" and self.view.filters:
            found.append(self.view.filters)
        if self.method == "GET" and self._is_list():
            found.append(OpenApiParameter("cursor", str, description="From `next` or `previous`"))
            found.append(OpenApiParameter("page_size", int, description="From 1; at most 200 are answered"))
        return found

    def _header(self, name: str, text: str, *, required: bool = False) -> OpenApiParameter:
        return OpenApiParameter(name, str, OpenApiParameter.HEADER, required=required, description=text)

    def _get_response_bodies(self, direction: Literal["request", "response"] = "response") -> dict:
        bodies = super()._get_response_bodies(direction)
        if direction != "response":
            return bodies
        # What preconditions answer where one row is read.
        conditional = ["304", "412"] if self.method == "GET" and not self._is_list() else []
        codes = sorted([*PROBLEMS[self.method], *conditional, *self.view.refuses])
        for code in codes:
            if code in bodies:
                continue
            if code == "304":
                bodies[code] = {"description": "Unchanged"}
                continue
            answer = OpenApiResponse(Problem, description="Problem details (RFC 9457)")
            bodies[code] = self._get_response_for_code(
                answer, code, media_types=["application/problem+json"], direction=direction
            )
        return bodies


PAGES: dict[str, type[serializers.Serializer]] = {}


def page_form(row: type[serializers.Serializer]) -> type[serializers.Serializer]:
    """The component of one cursor page of these rows."""
    name = f"{row.__name__}Page"
    if name not in PAGES:
        members = {
            "next": serializers.CharField(allow_null=True, help_text="Path of the next page"),
            "previous": serializers.CharField(allow_null=True, help_text="Path of the previous page"),
            "results": row(many=True),
            "__doc__": "One page, with the paths of its neighbours.",
        }
        PAGES[name] = type(name, (serializers.Serializer,), members)
    return PAGES[name]


def postprocess_param_enums(result: dict, generator: Any, **_: Any) -> dict:
    """Replace inline enums of parameters by a reference where a component has the same values."""
    by_values: dict[tuple, list[str]] = {}
    for name, component in result.get("components", {}).get("schemas", {}).items():
        if "enum" in component and isinstance(component.get("type"), str):
            by_values.setdefault(tuple(sorted(map(str, component["enum"]))), []).append(name)
    for operations in result["paths"].values():
        for operation in operations.values():
            for parameter in operation.get("parameters", []) if isinstance(operation, dict) else []:
                names = by_values.get(tuple(sorted(map(str, parameter["schema"].get("enum", [])))), [])
                if len(names) == 1:
                    parameter["schema"] = {"$ref": f"#/components/schemas/{names[0]}"}
    return result


def postprocess_word_lists(result: dict, generator: Any, **_: Any) -> dict:
    """A list of words says what its words are about."""
    told = {name: vars(words).get("__doc__") for name, words in enums().items()}
    for name, component in result["components"]["schemas"].items():
        if "enum" in component and told.get(name):
            component["description"] = told[name]
    return result


def postprocess_required(result: dict, generator: Any, **_: Any) -> dict:
    """A component that is answered always carries each of its members."""
    for name, component in result["components"]["schemas"].items():
        answered = not name.endswith("Request") and not name.startswith("Problem")
        if component.get("type") == "object" and component.get("properties") and answered:
            component["required"] = sorted(component["properties"])
    return result


class BearerScheme(DjangoOAuthToolkitScheme):
    """Shows OAuth2 with the action as scope."""

    target_class = "clinic.api.authentication.BearerToken"


class BrowserScheme(SessionScheme):
    """Shows the session cookie."""

    target_class = "clinic.api.authentication.BrowserSession"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """The name that it has over TLS; on one machine's plain HTTP the prefix is left out."""
        return {"type": "apiKey", "in": "cookie", "name": "__Host-sessionid"}
