"""What putting a visit's times right makes of each child's own."""

from datetime import datetime

import pytest

from scheduling.rules.visit_corrections import Span, part_put_right, seen_put_right
from tests.factories import at

ZONE = "America/Chicago"


def span(day: str, starts: str, ends: str) -> Span:
    return Span(at(f"{day} {starts}"), at(f"{day} {ends}"))


WAS = span("2026-03-31", "09:00", "09:45")


@pytest.mark.parametrize(
    ("part", "becomes", "right"),
    [
        pytest.param(
            WAS, span("2026-03-30", "09:00", "09:45"), span("2026-03-30", "09:00", "09:45"), id="the whole visit"
        ),
        pytest.param(
            span("2026-03-31", "09:15", "09:45"),
            span("2026-03-30", "14:00", "14:45"),
            span("2026-03-30", "14:15", "14:45"),
            id="she came later",
        ),
        pytest.param(
            span("2026-03-31", "09:00", "09:20"),
            span("2026-03-30", "14:00", "15:00"),
            span("2026-03-30", "14:00", "14:20"),
            id="she left earlier",
        ),
        pytest.param(
            span("2026-03-31", "09:10", "09:40"),
            span("2026-03-30", "14:00", "14:30"),
            span("2026-03-30", "14:10", "14:30"),
            id="never longer than the visit",
        ),
        pytest.param(
            span("2026-03-31", "09:30", "09:40"),
            span("2026-03-30", "14:00", "14:15"),
            span("2026-03-30", "14:00", "14:15"),
            id="what would lie outside is the whole of it",
        ),
    ],
)
def test_a_childs_own_times(part, becomes, right):
    """She is there as long and as late after the beginning, within the visit."""
    assert part_put_right(part, was=WAS, becomes=becomes) == right


@pytest.mark.parametrize(
    ("seen", "becomes", "right"),
    [
        pytest.param(None, span("2026-03-30", "09:00", "09:45"), None, id="nobody noted it"),
        pytest.param(
            at("2026-03-31 09:02"), span("2026-03-30", "09:00", "09:45"), at("2026-03-30 09:02"), id="another day"
        ),
        pytest.param(
            at("2026-03-31 14:03"), span("2026-03-31", "14:00", "14:45"), at("2026-03-31 14:03"), id="noted rightly"
        ),
        pytest.param(
            at("2026-03-31 09:02"), span("2026-04-01", "09:00", "09:45"), at("2026-04-01 09:01"), id="not in the future"
        ),
    ],
)
def test_when_she_came(seen, becomes, right):
    """What was noted on the right day stays, else it goes along; never beyond now."""
    now: datetime = at("2026-04-01 09:01")
    assert seen_put_right(seen, was=WAS, becomes=becomes, time_zone=ZONE, now=now) == right
