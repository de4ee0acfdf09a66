"""Whose children a supervisor reaches: those of the assistants for whom she answers, the narrowest primary first."""

from datetime import date

import pytest
import time_machine

from clinic.enums import Role
from tests import factories as make

pytestmark = pytest.mark.django_db
YESTERDAY, TOMORROW = date(2026, 3, 2), date(2026, 3, 4)


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel("2026-03-03T15:00:00Z", tick=False):
        yield


@pytest.fixture
def clinic():
    """An assistant with one child; two therapists, neither on the child's team."""
    organization = make.make_organization()
    site = make.make_site(organization)
    episode = make.make_episode(make.make_client(site))
    ana = make.make_staff(organization, Role.ASSISTANT)
    make.put_on_team(ana, episode)
    another = make.make_episode(make.make_client(site))
    return {
        "ana": ana,
        "ruth": make.make_staff(organization, Role.THERAPIST),
        "sol": make.make_staff(organization, Role.THERAPIST),
        "organization": {},
        "site": {"site": site},
        "episode": {"episode": episode},
        "another": {"scope": "episode", "episode": another},
    }


def assign(clinic, who: str, scope: str, **over) -> None:
    make.make_supervision(clinic["ana"], clinic[who], **{"scope": scope, **clinic[scope], **over})


def reaches(clinic, who: str) -> bool:
    episode = clinic["episode"]["episode"]
    return make.signed_in(clinic[who]).get(f"/api/v1/episodes/{episode.pk}/").status_code == 200


@pytest.mark.parametrize("wider", ["organization", "site"])
@pytest.mark.parametrize(
    ("over", "ruth", "sol"),
    [
        pytest.param({}, False, True, id="a narrower one takes over"),
        pytest.param({"kind": "covering"}, True, True, id="whoever covers comes beside"),
        pytest.param({"ends_on": YESTERDAY}, True, False, id="over since yesterday"),
        pytest.param({"starts_on": TOMORROW}, True, False, id="from tomorrow"),
    ],
)
def test_the_narrowest_primary_in_force_reaches(clinic, wider, over, ruth, sol):
    """A child's own supervisor stands in the place of a wider one, while she is in force, unless she only covers."""
    assign(clinic, "ruth", wider)
    assign(clinic, "sol", "episode", **over)
    assert (reaches(clinic, "ruth"), reaches(clinic, "sol")) == (ruth, sol)


@pytest.mark.parametrize(
    ("kind", "ruth"), [pytest.param("primary", False, id="primary"), pytest.param("covering", True, id="covering")]
)
def test_a_sites_supervisor_stands_before_the_organizations(clinic, kind, ruth):
    """As the episode's does before the site's."""
    assign(clinic, "ruth", "organization")
    assign(clinic, "sol", "site", kind=kind)
    assert (reaches(clinic, "ruth"), reaches(clinic, "sol")) == (ruth, True)


def test_another_childs_supervisor_is_nothing_to_this_one(clinic):
    """Neither does she reach the child nor does she stand before anybody."""
    assign(clinic, "ruth", "organization")
    assign(clinic, "sol", "another")
    assert (reaches(clinic, "ruth"), reaches(clinic, "sol")) == (True, False)


def test_whoever_covers_reaches_where_another_is_primary(clinic):
    """A wider cover is not narrowed away."""
    assign(clinic, "ruth", "organization", kind="covering")
    assign(clinic, "sol", "episode")
    assert (reaches(clinic, "ruth"), reaches(clinic, "sol")) == (True, True)
