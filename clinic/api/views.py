"""What every door shares: who asks, which action, strict input, one transaction, one line in the trail."""

import hashlib
import json
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Any, ClassVar
from uuid import UUID

import psycopg
from django.db import IntegrityError, models, transaction
from django.utils import timezone
from rest_framework import serializers
from rest_framework.exceptions import ParseError, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from clinic import audit
from clinic.api import account_trail, idempotency, rate_limits
from clinic.api.authentication import actor_of
from clinic.api.fields import Instant, StrictInput
from clinic.api.pagination import Page, page_of
from clinic.api.permissions import method_of
from clinic.api.preconditions import etag_of, not_modified, require_conditions, require_match, tags_in
from clinic.api.problems import LengthRequired
from clinic.api.renderers import dumps
from clinic.enums import AccountAction
from clinic.errors import Conflict, DomainError, InvalidField, NotFound, PreconditionFailed, PreconditionRequired
from clinic.limits import Standing
from clinic.rules import device_clock
from clinic.rules.access import Action, Actor

PAGING = {"cursor", "page_size"}


class ApiView(APIView):
    """A door. Subclasses name their actions, input and output serializers per method."""

    http_method_names: ClassVar[list[str]] = ["get", "head", "put", "patch", "post", "delete"]  # type: ignore[misc]
    resource: ClassVar[str] = ""
    act: ClassVar[str] = ""
    actions: ClassVar[dict[str, Action]] = {}
    shows_besides: ClassVar[tuple[Action, ...]] = ()  # what else an application's scope must reach
    inputs: ClassVar[dict[str, type[serializers.Serializer]]] = {}
    outputs: ClassVar[dict[str, type[serializers.Serializer]]] = {}
    filters: ClassVar[type[StrictInput] | None] = None
    key_required: ClassVar[bool] = False
    takes_key: ClassVar[bool] = True
    refuses: ClassVar[tuple[str, ...]] = ()  # statuses beyond those of every door
    queued: ClassVar[tuple[str, ...]] = ()  # the methods that a tablet may send later; never what needs a PIN
    changes_version: ClassVar[bool] = False
    observes: ClassVar[tuple[str, ...]] = ()  # the methods whose bodies tell times by the device's clock

    actor: Actor
    now: datetime

    def perform_authentication(self, request: Request) -> None:
        self.now = timezone.now()
        self.touched: set[tuple[UUID, UUID | None]] = set()
        self.reason = ""
        self.told = False
        self.shows_present = False
        self.standing: Standing | None = None
        try:
            super().perform_authentication(request)
            self.actor = actor_of(request)  # type: ignore[assignment]
        finally:  # a caller who could not be made out counts too
            self.standing = rate_limits.charge(request._request, getattr(self, "actor", None), now=self.now)
            rate_limits.refuse_exceeded(self.standing)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        self._refuse_unmeasured_body(request)
        self._refuse_unknown_parameters(request)

    # --- Reading what was sent ----------------------------------------------------------------------

    def _refuse_unmeasured_body(self, request: Request) -> None:
        """A body whose length is not given is never read; taken for an empty one, it would be lost in silence."""
        if "Transfer-Encoding" in request.headers and not request.headers.get("Content-Length"):
            raise LengthRequired

    def _refuse_unknown_parameters(self, request: Request) -> None:
        reads = method_of(request) == "GET"
        known = set(self.filters().fields) if self.filters and reads else set()
        if isinstance(self, ListDoor) and reads:
            known |= PAGING
        unknown = sorted(set(request.query_params) - known)
        if unknown:
            detail = serializers.ErrorDetail("This parameter is not known here", code="unknown_parameter")
            raise ValidationError({name: [detail] for name in unknown})
        doubled = sorted(name for name, values in request.query_params.lists() if len(values) > 1)
        if doubled:
            detail = serializers.ErrorDetail("This parameter stands twice", code="doubled_parameter")
            raise ValidationError({name: [detail] for name in doubled})

    def read(self, form: type[serializers.Serializer]) -> dict[str, Any]:
        """The body, judged by this form."""
        if not isinstance(self.request.data, dict):
            raise ParseError("The body must be one JSON object", code="not_an_object")
        bound = form(data=self.request.data, context={"view": self})
        bound.is_valid(raise_exception=True)
        return dict(bound.validated_data)

    def asked(self) -> dict[str, Any]:
        """The query parameters, judged by the door's filters."""
        if self.filters is None:
            return {}
        bound = self.filters(data={k: v for k, v in self.request.query_params.items() if k not in PAGING})
        bound.is_valid(raise_exception=True)
        return dict(bound.validated_data)

    def device_offset(self) -> timedelta:
        """By how much the clock of the device that sends is ahead, as far as it tells."""
        told = self.request.headers.get("Device-Time")
        if told is None:
            return device_clock.RIGHT
        try:
            return device_clock.offset(Instant().run_validation(told), self.now)
        except ValidationError:
            raise ParseError("Device-Time must be an RFC 3339 time with an offset", code="invalid_header") from None

    # --- Writing ------------------------------------------------------------------------------------

    def write(self, do: Callable[[], Response]) -> Response:
        """Do it in the request's one transaction, with its line in the trail and, under a key, its stored answer."""
        key = idempotency.key_of(self.request, required=self.key_required) if self._counts_once() else None
        try:
            with transaction.atomic():
                if key is not None:
                    return self._once(key, do)
                response = do()
                self.tell(response.status_code)
                return response
        except BaseException as refusal:
            self.told = False  # the line went with the transaction: the refusal gets one of its own
            if isinstance(refusal, PreconditionFailed | PreconditionRequired | Conflict):
                self._show_present(refusal)
            raise

    def _counts_once(self) -> bool:
        """Whether a key is looked at: a POST, or the change of a version; a PUT that makes a row is safe without."""
        return self.request.method == "POST" or "If-Match" in self.request.headers

    def _show_present(self, refusal: DomainError) -> None:
        """Whoever meets a conflict is shown the row as it is now, as far as she may see it, beside what she sent."""
        self.touched.clear()
        try:
            present = self.present()
        except NotFound:
            return
        if present is None:
            return
        self.shows_present = True
        refusal.facts |= {"current_etag": present["ETag"], "current": present.data}
        if self.request.method in ("PUT", "PATCH"):
            refusal.facts["sent"] = self.request.data

    def _once(self, key: str, do: Callable[[], Response]) -> Response:
        asked = idempotency.fingerprint(self.request)
        kept = idempotency.claim(actor=self.actor, key=key, asked=asked, now=self.now)
        if kept is not None:
            self.ask_reach_again(kept)
            self.tell(kept.status_code, code=audit.REPLAYED)
            return kept
        response = do()
        idempotency.keep(
            actor=self.actor, key=key, asked=asked, now=self.now, response=response, body=dumps(response.data)
        )
        self.tell(response.status_code)
        return response

    def ask_reach_again(self, kept: Response) -> None:
        """Before an answer is given a second time: is all that it shows still in reach? The trail names it again."""

    def present(self) -> Response | None:
        """The row as it is now, answered as it is shown; NotFound out of reach, None where a door shows no row."""
        return None

    def require_match(self, version: int | str) -> None:
        require_match(self.request, version)

    # --- Answering ----------------------------------------------------------------------------------

    def touch(self, client_id: UUID | None, episode_id: UUID | None = None) -> None:
        if client_id is not None:
            self.touched.add((client_id, episode_id))

    def touch_row(self, row: Any) -> None:
        """Whose record this row belongs to; doors on rows that stand further off override this."""
        if hasattr(row, "client_id"):
            self.touch(row.client_id, getattr(row, "episode_id", None))

    def show(self, data: Any, *, version: int | str | None = None, status: int = 200, location: str = "") -> Response:
        headers = {}
        if version is not None:
            headers["ETag"] = etag_of(version)
        if location:
            headers["Location"] = location
        return Response(data, status=status, headers=headers)

    def show_unless_known(self, version: int | str, data: Callable[[], Any]) -> Response:
        """A read of one row: 304 when whoever asks has it already."""
        if not_modified(self.request, version):
            return Response(status=304, headers={"ETag": etag_of(version)})
        return self.show(data(), version=version)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        if not getattr(self, "told", False):
            self._tell_at_last(response)
        rate_limits.announce(response, getattr(self, "standing", None))
        return super().finalize_response(request, response, *args, **kwargs)

    def _tell_at_last(self, response: Response) -> None:
        """The event of whatever was not told with its write: a read, a refusal, or a knock of nobody known here."""
        code = _code_in(response)
        if getattr(self, "actor", None) is not None:
            self.tell(response.status_code, code=code)
        else:
            self.told = True
            held = getattr(self.request, "_auth", None)  # asking for it would ask who it is once more
            application = held.application.client_id if held else ""
            asked = self.request._request
            account_trail.tell(asked, AccountAction.RECORD, response.status_code, code=code, application=application)

    # --- The trail ----------------------------------------------------------------------------------

    def tell(self, status: int, *, code: str = "") -> None:
        """Write this request's one event; it is written before the answer leaves."""
        self.told = True
        request = self.request
        event = audit.Event(
            at=self.now,
            action=str(self.actions.get(method_of(request), "")),
            method=(request.method or "")[:10],
            route=request.resolver_match.route if request.resolver_match else "",
            request_id=request._request.request_id,  # type: ignore[attr-defined]
            address=request.META.get("REMOTE_ADDR") or None,
            subject_id=self.kwargs.get("id"),
            outcome=audit.outcome_of(status),
            status=status,
            code=code,
            reason=self.reason,
            touched=self.touched if status < 400 or self.shows_present else set(),
        )
        audit.write(self.actor, event)


def _code_in(response: Any) -> str:
    data = getattr(response, "data", None)
    return str(data.get("code", "")) if isinstance(data, dict) and response.status_code >= 400 else ""


class ListDoor(ApiView):
    """GET of many: one cursor page. Subclasses give the rows, their order, and how one is shown."""

    order: ClassVar[tuple[str, ...]] = ("-created_at", "-id")

    def rows(self, asked: dict[str, Any]) -> models.QuerySet:
        raise NotImplementedError

    def shown(self, rows: list[Any]) -> list[Any]:
        form = self.outputs["GET"]
        return form(rows, many=True, context={"view": self}).data  # type: ignore[return-value]

    def touch_rows(self, rows: Iterable[Any]) -> None:
        for row in rows:
            self.touch_row(row)

    def page(self, asked: dict[str, Any]) -> Page:
        return page_of(self.request, self.rows(asked), order=self.order, bound_to=str(self.actor.organization_id))

    def get(self, request: Request, **kwargs: Any) -> Response:
        page = self.page(self.asked())
        self.touch_rows(page.rows)
        links = [f'<{url}>; rel="{rel}"' for rel, url in (("next", page.next), ("prev", page.previous)) if url]
        return Response(
            {"next": page.next, "previous": page.previous, "results": self.shown(page.rows)},
            headers={"Link": ", ".join(links)} if links else {},
        )


def digest_of(body: Any) -> str:
    """Tells a repeated PUT from another one: the digest of what was sent."""
    return hashlib.sha256(json.dumps(body, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


class RowDoor(ApiView):
    """A door on one row. Subclasses say how to find it and how it is shown."""

    def find(self, row_id: UUID) -> Any:
        """The row in reach for reading, or NotFound."""
        raise NotImplementedError

    def find_for_change(self, row_id: UUID) -> Any:
        """The row in reach for this change, locked, or NotFound."""
        raise NotImplementedError

    def represent(self, row: Any) -> Any:
        form = self.outputs.get("GET") or self.outputs[str(self.request.method)]
        return form(row, context={"view": self}).data

    def answer(self, row: Any) -> Response:
        self.touch_row(row)
        return self.show(self.represent(row), version=row.version)

    def present(self) -> Response | None:
        return self.answer(self.find(self.kwargs["id"]))

    def ask_reach_again(self, kept: Response) -> None:
        self.touch_row(self.find(self.kwargs["id"]))


class ActDoor(RowDoor):
    """POST of one act on a row, under its version; the answer is the row as it became."""

    changes_version = True

    def perform(self, row: Any, wanted: dict[str, Any]) -> Any:
        raise NotImplementedError

    def post(self, request: Request, id: UUID) -> Response:
        wanted = self.read(self.inputs["POST"])
        return self.write(lambda: self._perform(id, wanted))

    def _perform(self, row_id: UUID, wanted: dict[str, Any]) -> Response:
        row = self.find_for_change(row_id)
        self.require_match(row.version)
        return self.answer(self.perform(row, wanted))


class PutDoor(RowDoor):
    """GET and PUT of one row under an id that the client made. Subclasses say how to make and change it."""

    form: ClassVar[type[serializers.Serializer]]
    makes_row = False

    def exists(self, row_id: UUID) -> bool:
        """Is there such a row at all, in anybody's reach?"""
        raise NotImplementedError

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Any:
        raise NotImplementedError

    def replace(self, row: Any, wanted: dict[str, Any]) -> Any:
        raise NotImplementedError

    def get(self, request: Request, id: UUID) -> Response:
        row = self.find(id)
        self.touch_row(row)
        return self.show_unless_known(row.version, lambda: self.represent(row))

    def put(self, request: Request, id: UUID) -> Response:
        wanted = self.read(self.form)
        digest = digest_of(request.data)
        try:
            return self.write(lambda: self._put(id, wanted, digest))
        except (IntegrityError, Conflict) as refusal:
            # Two devices made the same id in the same instant: the second finds the first one's row.
            if not self.met_its_twin(refusal) or not self.exists(id):
                raise
            return self.write(lambda: self._put(id, wanted, digest))

    def met_its_twin(self, refusal: Exception) -> bool:
        """Whether a row that was to be made may have been refused for being there meanwhile."""
        if isinstance(refusal, IntegrityError):
            return isinstance(refusal.__cause__, psycopg.errors.UniqueViolation)
        return self.makes_row

    def _put(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Response:
        self.makes_row = not self.exists(row_id)
        if self.makes_row:
            return self._put_new(row_id, wanted, digest)
        row = self.find_for_change(row_id)
        require_conditions(self.request, row.version)
        if tags_in(self.request, "If-Match") is None:
            if row.created_digest != digest:
                raise PreconditionRequired(current_etag=etag_of(row.version))
            return self.answer(row)
        return self.answer(self.replace(row, wanted))

    def _put_new(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Response:
        require_conditions(self.request, None)
        row = self.create(row_id, wanted, digest)
        self.touch_row(row)
        return self.show(self.represent(row), version=row.version, status=201, location=self.request.path)


class ChangeDoor(PutDoor):
    """A PutDoor with PATCH: the change form names the members that change, all others are fixed once recorded."""

    change_form: ClassVar[type[serializers.Serializer]]
    changes_version = True

    def change(self, row: Any, wanted: dict[str, Any]) -> Any:
        raise NotImplementedError

    def replace(self, row: Any, wanted: dict[str, Any]) -> Any:
        changeable = set(self.change_form().fields)
        require_fixed(row, {name: value for name, value in wanted.items() if name not in changeable})
        return self.change(row, {name: value for name, value in wanted.items() if name in changeable})

    def patch(self, request: Request, id: UUID) -> Response:
        wanted = self.read(self.change_form)
        return self.write(lambda: self._change(id, wanted))

    def _change(self, row_id: UUID, wanted: dict[str, Any]) -> Response:
        row = self.find_for_change(row_id)
        self.require_match(row.version)
        return self.answer(self.change(row, wanted))


class FixedDoor(PutDoor):
    """A PutDoor whose rows stay as they were recorded: a PUT of something else is refused."""

    def replace(self, row: Any, wanted: dict[str, Any]) -> Any:
        require_fixed(row, wanted)
        return row


def require_fixed(row: Any, wanted: dict[str, Any]) -> None:
    """Refuse, at the first of them, members that would have to change and cannot."""
    for name, value in wanted.items():
        if getattr(row, row._meta.get_field(name).attname) != value:
            raise InvalidField(f"/{name}", "This stays as it was recorded", code="fixed")
