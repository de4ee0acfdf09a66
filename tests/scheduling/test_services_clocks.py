"""Facts and deadlines follow the record: from visits, notes, plans and certifications to what is due to whom."""

from datetime import date

import pytest

from clinic.models import Episode
from goals.models import Certification, PlanPeriod
from scheduling.models import Deadline, DeadlineChange, Fact, Participation, ReportingPeriod, Visit
from scheduling.services import clocks
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db
NOW = make.at("2026-01-28 20:00")
# SCENARIOS.md S1: treated on nine different days, twice on 14 January.
S1 = ["01-05", "01-07", "01-12", "01-14", "01-14", "01-19", "01-21", "01-23", "01-26", "01-28"]


@pytest.fixture
def flow():
    return Flow()


def held(flow, day, *, hour=9, kind="treatment", status="fulfilled", episode=None):
    """A visit of 2026 as it stands in the record once it was held."""
    episode = episode or flow.episode
    starts, ends = make.at(f"2026-{day} {hour:02}:00"), make.at(f"2026-{day} {hour:02}:45")
    common = {"organization": flow.organization, "status": status, "service_date": starts.date()}
    visit = Visit.objects.create(site=flow.site, kind=kind, starts_at=starts, ends_at=ends, **common)
    return Participation.objects.create(
        visit=visit,
        client_id=episode.client_id,
        episode=episode,
        starts_at=starts,
        ends_at=ends,
        arrived_at=starts,
        minutes=45 if status == "fulfilled" else None,
        **common,
    )


def follow(flow, now=NOW):
    return clocks.follow([flow.episode.pk], now=now)


def deadlines(code, **asked):
    return Deadline.objects.filter(rule__code=code, **asked).order_by("starts_on")


def test_days_of_treatment_are_counted_and_the_tenth_is_due(flow):
    for place, day in enumerate(S1):
        held(flow, day, hour=9 + place % 2)
    follow(flow)
    (report,) = deadlines("progress_report")
    assert (report.counted, report.target, report.due_on, report.outcome) == (9, 10, None, "open")
    held(flow, "01-30")
    follow(flow, make.at("2026-01-30 20:00"))
    report.refresh_from_db()
    assert (report.counted, report.due_on) == (10, date(2026, 1, 30))


def test_a_consultation_without_the_child_is_no_day_of_treatment(flow):
    held(flow, "01-22", kind="consultation")
    follow(flow)
    assert list(deadlines("progress_report")) == []


def test_following_twice_writes_nothing_more(flow):
    for place, day in enumerate(S1):
        held(flow, day, hour=9 + place % 2)
    assert follow(flow) > 0
    before = Fact.objects.count(), DeadlineChange.objects.count()
    assert follow(flow) == 0
    assert (Fact.objects.count(), DeadlineChange.objects.count()) == before


def test_what_was_not_held_after_all_is_taken_back(flow):
    """Its fact is revoked, not deleted; the count and the deadline follow."""
    parts = [held(flow, day, hour=9 + place % 2) for place, day in enumerate([*S1, "01-30"])]
    follow(flow)
    Participation.objects.filter(pk=parts[-1].pk).update(status="entered-in-error")
    follow(flow, make.at("2026-01-31 08:00"))
    (report,) = deadlines("progress_report")
    assert (report.counted, report.due_on) == (9, None)
    assert Fact.objects.filter(source_id=parts[-1].pk, revoked_at__isnull=False).count() == 2
    assert [row.due_on for row in report.changes.order_by("at")] == [date(2026, 1, 30), None]


def test_a_deadline_whose_anchor_is_gone_is_superseded(flow):
    part = held(flow, "01-05")
    follow(flow)
    Participation.objects.filter(pk=part.pk).update(status="entered-in-error")
    follow(flow)
    assert [row.outcome for row in deadlines("progress_report")] == ["superseded"]


def test_the_day_expected_follows_what_is_booked(flow):
    for place, day in enumerate(S1):
        held(flow, day, hour=9 + place % 2)
    held(flow, "02-02", status="booked")
    follow(flow)
    (report,) = deadlines("progress_report")
    assert report.expected_on == date(2026, 2, 2)


def plan(flow, starts, ends):
    return PlanPeriod.objects.create(
        organization=flow.organization, episode=flow.episode, starts_on=starts, ends_on=ends, written_by=flow.supervisor
    )


def certified(flow, period, day):
    return Certification.objects.create(
        organization=flow.organization, plan_period=period, physician_name="A physician", sent_on=day, signed_on=day
    )


def test_a_plan_is_certified_in_thirty_days_and_again_in_ninety_of_the_first_treatment(flow):
    """CMS Pub. 100-02 ch. 15 §220.1.3.B."""
    period = plan(flow, date(2026, 1, 2), date(2026, 6, 30))
    held(flow, "01-05")
    follow(flow)
    assert [row.due_on for row in deadlines("certification")] == [date(2026, 2, 4)]
    assert [row.due_on for row in deadlines("recertification")] == [date(2026, 4, 5)]
    certified(flow, period, date(2026, 1, 20))
    follow(flow)
    assert [(row.outcome, row.closed_on) for row in deadlines("certification")] == [("met", date(2026, 1, 20))]
    assert [row.outcome for row in deadlines("recertification")] == ["open"]


def test_a_plan_that_ends_sooner_is_certified_again_by_its_end(flow):
    plan(flow, date(2026, 1, 2), date(2026, 2, 28))
    held(flow, "01-05")
    follow(flow)
    assert [row.due_on for row in deadlines("recertification")] == [date(2026, 2, 28)]


def test_the_next_plan_s_certification_answers_for_the_one_before(flow):
    plan(flow, date(2026, 1, 2), date(2026, 4, 5))
    certified(flow, plan(flow, date(2026, 4, 6), date(2026, 7, 5)), date(2026, 4, 7))
    held(flow, "01-05")
    follow(flow, make.at("2026-04-08 09:00"))
    assert [(row.outcome, row.closed_on) for row in deadlines("recertification")] == [("met_late", date(2026, 4, 7))]


def test_what_was_open_at_discharge_is_due_no_more(flow):
    plan(flow, date(2026, 1, 2), date(2026, 4, 5))
    held(flow, "01-05")
    follow(flow)
    Episode.objects.filter(pk=flow.episode.pk).update(status="finished", closed_on=date(2026, 1, 20))
    follow(flow)
    assert {row.outcome for row in deadlines("recertification")} == {"superseded"}


def test_a_school_child_has_no_ninety_days_but_the_report_card_day(flow):
    """S11: the clocks are those of the episode's own packs."""
    child = make.make_client(flow.site, given_name="Teo")
    school = make.make_episode(child, setting="school", record_regime="education_record", opened_on=date(2026, 1, 7))
    ReportingPeriod.objects.create(
        organization=flow.organization,
        site=flow.site,
        name="autumn",
        starts_on=date(2026, 1, 1),
        ends_on=date(2026, 3, 13),
    )
    held(flow, "01-12", episode=school)
    clocks.follow([school.pk], now=NOW)
    assert {row.rule.code for row in Deadline.objects.filter(episode=school)} == {"note", "report_card"}
    assert [row.due_on for row in deadlines("report_card")] == [date(2026, 3, 13)]


def test_a_note_is_owed_for_each_visit_until_it_is_signed(flow):
    """Two business days by the organization's setting: of Friday 16 January, Tuesday the 20th."""
    part = flow.visit("2026-01-16")
    clocks.follow([flow.episode.pk], now=make.at("2026-01-16 20:00"))
    flow.step(part, "check-in", at="2026-01-16 09:50")
    flow.step(part, "finish", at="2026-01-16 09:51")
    clocks.follow([flow.episode.pk], now=make.at("2026-01-16 20:00"))
    (note,) = deadlines("note")
    assert (note.due_on, note.outcome, note.responsible_id) == (date(2026, 1, 20), "open", flow.assistant.pk)
    written = flow.put(part, [], at="2026-01-17 09:00")
    flow.sign(written, at="2026-01-17 09:05")
    clocks.follow([flow.episode.pk], now=make.at("2026-01-17 20:00"))
    note.refresh_from_db()
    assert (note.outcome, note.closed_on) == ("met", date(2026, 1, 17))
    (cosignature,) = deadlines("cosignature")
    assert (cosignature.due_on, cosignature.responsible_id) == (date(2026, 1, 24), flow.supervisor.pk)


def test_the_organization_s_own_limit_stands_for_the_pack_s(flow):
    type(flow.organization).objects.filter(pk=flow.organization.pk).update(sign_within_business_days=1)
    held(flow, "01-16")
    follow(flow)
    assert [row.due_on for row in deadlines("note")] == [date(2026, 1, 19)]


def test_the_therapist_on_the_team_answers(flow):
    held(flow, "01-05")
    follow(flow)
    assert [row.responsible_id for row in deadlines("progress_report")] == [flow.supervisor.pk]
