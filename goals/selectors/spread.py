"""Which values of a document lie far outside their goals' own spread."""

from clinic.models import Document
from goals.models import Goal
from goals.progress.spread import OutsideSpread, outside_spread
from goals.selectors import measurements as selectors
from goals.selectors.definitions import defined, phases_of, spec_of


def values_far_out(document: Document) -> list[tuple[Goal, OutsideSpread]]:
    """Each goal measured in a document, or corrected by it, whose value of that visit is far from the others."""
    ids = selectors.goals_measured_in(document.pk)
    rows: dict[object, list] = {goal_id: [] for goal_id in ids}
    for row in selectors.counting(ids):
        rows[row.goal_id].append(row)
    visit = str(document.amends_id or document.pk)
    found = []
    for goal in defined(Goal.objects.filter(pk__in=ids)).order_by("number"):
        observations = selectors.observations_of(rows[goal.pk])
        far = outside_spread(spec_of(goal), phases_of(goal), observations, visit=visit)
        if far is not None:
            found.append((goal, far))
    return found
