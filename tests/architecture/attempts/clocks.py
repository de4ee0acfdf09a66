"""Attempts on what clocks count, their rules, and what is due."""

from datetime import timedelta

from clinic import models as c
from scheduling import models as m
from tests.architecture.attempts.attempt import BACKWARDS, TOMORROW, YESTERDAY, Attempt, there_is, with_columns
from tests.architecture.world import DAY, NOON

A = Attempt
NAMED = {"pack": "outpatient", "code": "reassessment"}
UNTIL = {**NAMED, "effective_from": DAY, "effective_until": TOMORROW}

ATTEMPTS = [
    A(
        "deadline_rule_once_per_start",
        m.DeadlineRule,
        "the same rule from the same day",
        with_columns(**UNTIL),
        there_is(m.DeadlineRule, **UNTIL),
        beside=("deadline_rule_no_overlap",),
    ),
    A(
        "deadline_rule_ends_after_start",
        m.DeadlineRule,
        "it ends before it holds",
        with_columns(effective_from=DAY, effective_until=YESTERDAY),
        beside=("deadline_rule_no_overlap",),
    ),
    A(
        "deadline_rule_no_overlap",
        m.DeadlineRule,
        "two of one code on one day",
        with_columns(**NAMED, effective_from=TOMORROW),
        there_is(m.DeadlineRule, **UNTIL),
    ),
    A(
        "reporting_period_ends_after_start",
        m.ReportingPeriod,
        "it ends before it starts",
        with_columns(**BACKWARDS),
        beside=("reporting_period_no_overlap",),
    ),
    A(
        "reporting_period_no_overlap",
        m.ReportingPeriod,
        "two of one site on one day",
        with_columns(starts_on=TOMORROW),
        there_is(m.ReportingPeriod),
    ),
    A(
        "fact_once_per_source",
        m.Fact,
        "one source counted twice",
        lambda w: {"source_id": w.row(c.Episode), "subject_id": w.row(c.Episode)},
        lambda w: w.add(m.Fact, source_id=w.row(c.Episode), subject_id=w.row(c.Episode)),
    ),
    A(
        "fact_revoked_after_recorded",
        m.Fact,
        "taken back before it was said",
        with_columns(revoked_at=NOON - timedelta(minutes=1)),
    ),
    A(
        "deadline_once_per_anchor",
        m.Deadline,
        "twice due since one fact",
        lambda w: {"subject_id": w.row(c.Episode)},
        lambda w: w.add(m.Deadline, subject_id=w.row(c.Episode)),
    ),
    A("deadline_met_says_when", m.Deadline, "met on no day", with_columns(outcome="met")),
    A("deadline_met_says_when", m.Deadline, "open and closed", with_columns(closed_on=DAY)),
    *(
        A(name, model, "an episode of another child", lambda w: {"client": w.row(c.Client, "second")})
        for name, model in (("fact_episode_is_the_clients", m.Fact), ("deadline_episode_is_the_clients", m.Deadline))
    ),
    A(
        "deadline_anchor_is_of_the_episode",
        m.Deadline,
        "since a fact of another child's",
        lambda w: {"anchor": w.row(m.Fact, "second")},
    ),
    A("deadline_counts_no_further", m.Deadline, "eleven of ten", with_columns(counted=11, target=10)),
]

TOUCHING = [
    (m.DeadlineRule, UNTIL, with_columns(**NAMED, effective_from=TOMORROW + timedelta(days=1))),
    (m.ReportingPeriod, {"ends_on": TOMORROW}, with_columns(starts_on=TOMORROW + timedelta(days=1))),
]
