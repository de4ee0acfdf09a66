"""A small team that goes the main way through the API: visits, notes, signatures, verdicts, progress."""

from datetime import date, timedelta
from functools import cache
from typing import Any

import time_machine
from celery import current_app
from django.contrib.sessions.models import Session
from django.utils import timezone
from rest_framework.test import APIClient

from clinic.enums import Role
from clinic.models import Episode, SigningPin, Staff
from clinic.services import delivery
from clinic.services.pins import HASHER, _keyed
from goals.models import Clause, Goal, GoalPhase
from goals.services import progress
from scheduling.models import Participation
from tests import factories as make

PIN = "580213"


@cache
def hashed(pin: str) -> str:
    """One hash for everybody who has this PIN: made as the service makes it, once."""
    return HASHER.hash(_keyed(pin))


def give_pin(staff: Staff, pin: str = PIN) -> None:
    SigningPin.objects.update_or_create(
        staff=staff,
        defaults={
            "organization_id": staff.organization_id,
            "hash": hashed(pin),
            "changed_at": timezone.now(),
        },
    )


def signed_in(staff: Staff) -> APIClient:
    """Her session, which lasts as long as the tests travel, whatever the clock of the machine says."""
    api = make.signed_in(staff)
    Session.objects.filter(pk=api.session.session_key).update(expire_date=make.at("2100-01-01 00:00"))
    return api


class Flow:
    """One child, an assistant and her supervisor; times are wall-clock times in Chicago."""

    def __init__(self) -> None:
        self.organization = make.make_organization()
        self.site = make.make_site(self.organization)
        self.child = make.make_client(self.site)
        self.episode: Episode = make.make_episode(self.child)
        self.assistant = make.make_staff(self.organization, Role.ASSISTANT, printed_name="Ana Brandt")
        self.supervisor = make.make_staff(self.organization, Role.THERAPIST, printed_name="Ruth Imber")
        make.put_on_team(self.assistant, self.episode)
        make.put_on_team(self.supervisor, self.episode)
        make.make_supervision(self.assistant, self.supervisor)
        for person in (self.assistant, self.supervisor):
            give_pin(person)
        self.ana = signed_in(self.assistant)
        self.ruth = signed_in(self.supervisor)

    # --- More people ---

    def person(self, name: str, *roles: Role) -> tuple[Staff, APIClient]:
        """Somebody else of the organization, with a PIN, and her session."""
        staff = make.make_staff(self.organization, *roles, printed_name=name)
        give_pin(staff)
        return staff, signed_in(staff)

    def another_child(self, name: str = "Teo", *team: Staff) -> Episode:
        """Another child's episode, treated by the assistant unless others are named."""
        episode = make.make_episode(make.make_client(self.site, given_name=name))
        for member in team or (self.assistant,):
            make.put_on_team(member, episode)
        return episode

    # --- What is treated towards ---

    def goal(self, *, starts: str = "2026-03-03", measure: str = "accuracy", **over: Any) -> Goal:
        given = {
            "text": "fastens vest buttons",
            "purpose": "improve",
            "direction": "increase",
            "lifecycle": "active",
            "starts_on": date.fromisoformat(starts),
            **over,
        }
        number = Goal.objects.filter(episode=self.episode).count() + 1
        return Goal.objects.create(
            organization=self.organization,
            episode=self.episode,
            client=self.child,
            number=number,
            measure=measure,
            proposed_by=self.supervisor,
            **given,
        )

    def goal_of_ten(self, *, baseline: list[int], needed: int) -> Any:
        """At least so many of ten, on at least ten trials, in three of the last four visits."""
        goal = self.goal()
        common = {"organization": self.organization, "goal": goal, "written_by": self.supervisor}
        written = make.at("2026-02-20 09:00")
        GoalPhase.objects.create(
            ordinal=1,
            kind="baseline",
            starts_on=date(2026, 2, 20),
            ends_on=date(2026, 3, 2),
            written_at=written,
            **common,
        )
        phase = GoalPhase.objects.create(
            ordinal=2,
            kind="intervention",
            starts_on=date(2026, 3, 3),
            consistency="of_last",
            needed=3,
            window=4,
            minimum_trials=10,
            written_at=written,
            **common,
        )
        Clause.objects.create(
            organization=self.organization,
            phase=phase,
            ordinal=1,
            component="accuracy",
            comparison="at_least",
            value=f"{needed}/10",
            primary=True,
        )
        visit = self.visit("2026-02-24", api=self.ruth, staff=self.supervisor, kind="evaluation")
        measured = [
            {"goal": str(goal.pk), "slot": slot, "successes": successes, "opportunities": 10}
            for slot, successes in enumerate(baseline, start=1)
        ]
        note = self.put(visit, measured, at="2026-02-24 16:00", api=self.ruth)
        self.sign(note, at="2026-02-24 16:05", api=self.ruth)
        return goal.pk

    # --- Visits and notes ---

    def visit(self, day: str, *, start: str = "09:00", api: Any = None, staff: Staff | None = None, **over: Any) -> str:
        """A visit that took place at this hour, entered when it was over; answers the part's id."""
        begins = make.at(f"{day} {start}")
        ends = begins + timedelta(minutes=45)
        with time_machine.travel(ends, tick=False):
            answer = (api or self.ana).put(
                f"/api/v1/visits/{make.new_id()}/",
                {
                    "site": str(self.site.pk),
                    "kind": "treatment",
                    "starts_at": begins.isoformat(),
                    "ends_at": ends.isoformat(),
                    "staff": [str((staff or self.assistant).pk)],
                    "children": [{"episode": str(self.episode.pk)}],
                    **over,
                },
                format="json",
            )
        assert answer.status_code == 201, answer.content
        return answer.json()["children"][0]["id"]

    def asked(self, start: str, *, minutes: int = 45, **over: Any) -> dict[str, Any]:
        """A visit as it is asked for: the child with the assistant, from a wall-clock time in Chicago."""
        begins = make.at(start)
        return {
            "site": str(self.site.pk),
            "kind": "treatment",
            "starts_at": begins.isoformat(),
            "ends_at": (begins + timedelta(minutes=minutes)).isoformat(),
            "staff": [str(self.assistant.pk)],
            "children": [{"episode": str(self.episode.pk)}],
            **over,
        }

    def book(
        self, start: str, *, at: str, api: Any = None, visit: str | None = None, match: int | None = None, **over: Any
    ) -> Any:
        """The answer to a visit put at this time of the clock, new or moved."""
        headers = {} if match is None else {"HTTP_IF_MATCH": f'"{match}"'}
        with time_machine.travel(make.at(at), tick=False):
            return (api or self.ana).put(
                f"/api/v1/visits/{visit or make.new_id()}/", self.asked(start, **over), format="json", **headers
            )

    def step(
        self,
        part: str,
        step: str,
        *,
        at: str,
        api: Any = None,
        match: int | None = None,
        said: dict | None = None,
        **body: Any,
    ) -> Any:
        """The answer to one step of a child's part, under its present version unless another is given."""
        version = Participation.objects.get(pk=part).version if match is None else match
        with time_machine.travel(make.at(at), tick=False):
            return (api or self.ana).post(
                f"/api/v1/participations/{part}/{step}/",
                body if said is None else said,
                format="json",
                HTTP_IF_MATCH=f'"{version}"',
            )

    def get(self, path: str, *, at: str, api: Any = None, **asked: str) -> Any:
        with time_machine.travel(make.at(at), tick=False):
            return (api or self.ana).get(f"/api/v1/{path}", asked)

    def put(
        self, part: str, measured: list[dict], *, at: str, api: Any = None, note: str | None = None, **more: Any
    ) -> str:
        """A note as it is written at this time of the clock; `more` are headers, or further members of its body."""
        note = note or make.new_id()
        headers = {name: value for name, value in more.items() if name.startswith("HTTP_")}
        written = {name: value for name, value in more.items() if name not in headers}
        with time_machine.travel(make.at(at), tick=False):
            answer = (api or self.ana).put(
                f"/api/v1/notes/{note}/",
                {"participation": part, "objective": "Seated at the table.", "measurements": measured, **written},
                format="json",
                **headers,
            )
        assert answer.status_code in (200, 201), answer.content
        return note

    def put_note(self, part: str, *, successes: int, goal: Any, at: str, **options: Any) -> str:
        measured = [{"goal": str(goal), "successes": successes, "opportunities": 10}]
        return self.put(part, measured, at=at, **options)

    def revise(self, note: str, part: str, *, successes: int, goal: Any, at: str) -> str:
        version = self.read(note)["version"]
        return self.put_note(part, successes=successes, goal=goal, at=at, note=note, HTTP_IF_MATCH=f'"{version}"')

    def read(self, note: str, api: Any = None) -> dict[str, Any]:
        return (api or self.ana).get(f"/api/v1/notes/{note}/").json()

    def act(self, api: Any, note: str, act: str, body: dict[str, Any], *, at: str, **headers: Any) -> Any:
        headers.setdefault("HTTP_IDEMPOTENCY_KEY", make.new_id())
        with time_machine.travel(make.at(at), tick=False):
            return api.post(f"/api/v1/notes/{note}/{act}/", {"pin": PIN, **body}, format="json", **headers)

    def sign(self, note: str, *, at: str, api: Any = None) -> Any:
        version = self.read(note, api)["version"]
        answer = self.act(api or self.ana, note, "sign", {}, at=at, HTTP_IF_MATCH=f'"{version}"')
        assert answer.status_code == 200, answer.content
        return answer

    def open(self, note: str, *, at: str, api: Any = None, resource: str = "notes") -> Any:
        """She fetches it at this time of the clock, as she must before she co-signs it."""
        return self.get(f"{resource}/{note}/", at=at, api=api or self.ruth)

    def cosign(self, note: str, *, digest: str, at: str, api: Any = None) -> Any:
        """The answer to a co-signature of what she opened in the same moment."""
        self.open(note, at=at, api=api)
        return self.act(api or self.ruth, note, "cosign", {"digest": digest}, at=at)

    def send_back(self, note: str, *, digest: str, reason: str, at: str, api: Any = None) -> Any:
        return self.act(api or self.ruth, note, "return", {"digest": digest, "reason": reason}, at=at)

    def signed_visit(self, day: str, *, successes: int, goal: Any) -> str:
        note = self.put_note(self.visit(day), successes=successes, goal=goal, at=f"{day} 17:00")
        self.sign(note, at=f"{day} 17:05")
        return note

    # --- What follows ---

    def deliver(self) -> None:
        current_app.loader.import_default_modules()
        with time_machine.travel(make.at("2026-04-01 09:00"), tick=False):
            delivery.deliver_outbox()

    def hand_on(self) -> None:
        """Deliver what is due now; listeners that hand on co-signatures are among those who hear it."""
        current_app.loader.import_default_modules()
        delivery.deliver_outbox()

    def recompute(self, goal: Any) -> None:
        progress.recompute(goal, now=make.at("2026-04-01 09:00"))

    def progress(self, goal: Any, **asked: str) -> dict[str, Any]:
        answer = self.ana.get(f"/api/v1/goals/{goal}/progress/", asked)
        assert answer.status_code == 200, answer.content
        return answer.json()["found"]

    def caseload(self) -> dict[str, Any]:
        answer = self.ana.get("/api/v1/caseload/")
        assert answer.status_code == 200, answer.content
        return answer.json()["results"][0]

    def part(self, part: str) -> Participation:
        return Participation.objects.get(pk=part)
