"""Attempts on the top floor's tables."""

from datetime import timedelta
from typing import Any

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from clinic import models as c
from goals import models as g
from scheduling import models as m
from tests.architecture.attempts.attempt import Attempt, there_is, with_columns
from tests.architecture.world import LATER, NOON, World

A = Attempt
MIDWAY, END = NOON + timedelta(minutes=20), LATER + timedelta(minutes=45)
ACROSS = DateTimeTZRange(MIDWAY, END)
AFTER = DateTimeTZRange(LATER, END)
NOBODY: dict[str, Any] = {"staff": None, "client": None, "room": None, "place": None}


def held(what: str) -> Any:
    """The columns of a booking that holds this and nothing else."""
    models = {"staff": c.Staff, "client": c.Client, "room": c.Room}
    place = {"place": 1} if what == "room" else {}
    return lambda w: {**NOBODY, what: w.row(models[what]), **place}


def also(columns: Any, **more: Any) -> Any:
    return lambda w: {**columns(w), **more}


def booked(columns: Any) -> Any:
    return lambda w: w.add(m.Booking, **columns(w))


def gone(w: World, **changes: Any) -> dict[str, Any]:
    facts = {"cancelled_at": NOON, "cancelled_by": w.row(c.Staff), "cancel_cause": "client"}
    return {"status": "noshow", **facts, **changes}


BOOKINGS = [
    *(
        A(
            name,
            m.Booking,
            f"the same {what} at the same time",
            also(held(what), during=ACROSS),
            booked(held(what)),
        )
        for name, what in (
            ("booking_no_overlap_per_staff", "staff"),
            ("booking_no_overlap_per_client", "client"),
            ("booking_no_overlap_per_room_place", "room"),
        )
    ),
    A("booking_holds_exactly_one", m.Booking, "nothing", with_columns(**NOBODY)),
    A("booking_holds_exactly_one", m.Booking, "a room without a place", also(held("room"), place=None)),
    A(
        "booking_holds_exactly_one",
        m.Booking,
        "a person and a child",
        lambda w: {"staff": w.row(c.Staff), "client": w.row(c.Client)},
    ),
    *(
        A("booking_time_is_bounded", m.Booking, why, with_columns(during=during))
        for why, during in (
            ("for ever", DateTimeTZRange(NOON, None)),
            ("from always", DateTimeTZRange(None, NOON)),
            ("for no time", DateTimeTZRange(NOON, NOON)),
        )
    ),
    A("booking_superseded_holds_nothing", m.Booking, "moved away and held", with_columns(superseded=True)),
    A("booking_overlapped_holds_nothing", m.Booking, "held twice", with_columns(overlapped=True)),
]

VISITS = [
    *(
        A("visit_ends_after_start", m.Visit, why, with_columns(ends_at=ends_at))
        for why, ends_at in (("it ends as it starts", NOON), ("before it starts", NOON - timedelta(minutes=1)))
    ),
    A(
        "visit_at_most_twelve_hours",
        m.Visit,
        "a minute more",
        with_columns(ends_at=NOON + timedelta(hours=12, minutes=1)),
    ),
    A(
        "visit_finished_after_arrival",
        m.Visit,
        "finished before anybody came",
        with_columns(arrived_at=LATER, finished_at=NOON),
    ),
]

CORRECTIONS = [
    A("visit_correction_has_a_reason", m.VisitCorrection, "no reason", with_columns(reason="")),
    A("visit_correction_was_in_order", m.VisitCorrection, "it ended as it began", with_columns(was_ends_at=NOON)),
]

PARTICIPATIONS = [
    A("participation_once_per_visit", m.Participation, "twice in a visit", with_columns(), there_is(m.Participation)),
    A("participation_ends_after_start", m.Participation, "it ends as it starts", with_columns(ends_at=NOON)),
    A(
        "participation_leaves_after_arrival",
        m.Participation,
        "gone before she came",
        with_columns(arrived_at=LATER, left_at=NOON),
    ),
    A(
        "participation_device_clock_is_far_off",
        m.Participation,
        "a clock that is near enough",
        with_columns(device_offset_seconds=-300),
    ),
    A("participation_minutes_fit_a_visit", m.Participation, "thirteen hours", with_columns(minutes=780)),
    *(
        A("participation_status_has_its_facts", m.Participation, why, columns, change=True)
        for why, columns in (
            ("booked and cancelled", with_columns(cancelled_at=NOON)),
            ("checked in at no time", with_columns(status="checked-in")),
            ("held for no minutes said", with_columns(status="fulfilled")),
            ("held and cancelled", with_columns(status="fulfilled", minutes=45, cancelled_at=NOON)),
            ("cancelled by nobody", lambda w: gone(w, status="cancelled", cancelled_by=None)),
            ("cancelled on nobody's side", lambda w: gone(w, status="cancelled", cancel_cause=None)),
            ("missed at no time", lambda w: gone(w, cancelled_at=None)),
        )
    ),
    A(
        "participation_episode_is_the_clients",
        m.Participation,
        "an episode of another child",
        lambda w: {"client": w.row(c.Client, "second")},
    ),
    A(
        "participation_note_document_is_of_the_episode",
        m.ParticipationNote,
        "a document of another episode",
        lambda w: {"document": w.row(c.Document, "second")},
    ),
    A(
        "participation_note_is_of_the_same_episode",
        m.ParticipationNote,
        "a participation of another child",
        lambda w: {"participation": w.row(m.Participation, "second")},
    ),
    A(
        "note_once_per_participation_and_author",
        m.ParticipationNote,
        "a second note of one author",
        lambda w: {"document": w.add(c.Document)},
        there_is(m.ParticipationNote),
    ),
]

PLANNED = [
    A(
        "planned_goal_stands_once_per_participation",
        m.PlannedGoal,
        "planned twice",
        with_columns(),
        there_is(m.PlannedGoal),
    ),
    A(
        "planned_goal_dropped_after_planning",
        m.PlannedGoal,
        "dropped before it was planned",
        with_columns(dropped_at=NOON - timedelta(minutes=1)),
    ),
    A(
        "planned_goal_is_of_the_episode",
        m.PlannedGoal,
        "another child's goal",
        lambda w: {"goal": w.row(g.Goal, "second")},
    ),
    A(
        "planned_goal_participation_is_of_the_episode",
        m.PlannedGoal,
        "another child's visit",
        lambda w: {"participation": w.row(m.Participation, "second")},
    ),
]

TEMPLATES = [
    A(
        "note_template_name_once_per_organization",
        m.NoteTemplate,
        "a name twice",
        with_columns(name="At the table"),
        there_is(m.NoteTemplate, name="At the table"),
    ),
    A("note_template_says_something", m.NoteTemplate, "it says nothing", with_columns(objective="")),
]

NOTES = [
    A(
        "note_follows_one_in_error_once",
        m.ParticipationNote,
        "two notes that follow the same one",
        lambda w: {"document": w.add(c.Document), "follows": w.row(c.EnteredInError)},
        lambda w: w.add(m.ParticipationNote, document=w.add(c.Document), follows=w.row(c.EnteredInError)),
    ),
    A(
        "note_moved_once",
        m.ParticipationNote,
        "two notes made of the same one",
        lambda w: {
            "document": w.add(c.Document),
            "author": w.row(c.Staff, "second"),
            "moved_from": w.row(c.EnteredInError),
        },
        lambda w: w.add(m.ParticipationNote, document=w.add(c.Document), moved_from=w.row(c.EnteredInError)),
    ),
]

ATTEMPTS = [*BOOKINGS, *VISITS, *CORRECTIONS, *PARTICIPATIONS, *NOTES, *PLANNED, *TEMPLATES]

TOUCHING = [
    *((m.Booking, held(what), also(held(what), during=AFTER)) for what in ("staff", "client", "room")),
    (m.Booking, held("room"), also(held("room"), place=2, during=ACROSS)),
    (m.Booking, also(held("staff"), live=False), also(held("staff"), during=ACROSS)),
    (m.Participation, {}, lambda w: {"client": w.row(c.Client, "second"), "episode": w.row(c.Episode, "second")}),
    (m.PlannedGoal, {"dropped_at": LATER}, with_columns()),
    (m.NoteTemplate, {"name": "At the table"}, with_columns(name="On the mat")),
    (m.Visit, {}, with_columns(ends_at=NOON + timedelta(hours=12))),
    (
        m.ParticipationNote,
        {},
        lambda w: {"document": w.add(c.Document), "author": w.row(c.Staff, "second")},
    ),
    (
        m.ParticipationNote,
        {},
        lambda w: {"document": w.add(c.Document), "follows": w.row(c.EnteredInError)},
    ),
]

COMPANY: dict[tuple[str, str], dict[str, Any]] = {
    ("scheduling.Booking", "client"): {"staff": None},
    ("scheduling.Booking", "room"): {"staff": None, "place": 1},
}
