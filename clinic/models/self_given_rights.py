"""Rights that somebody gave to herself: allowed, because a small practice needs it, and never in silence."""

from django.db import models
from django.db.models import Q

from clinic.enums import GivenRight
from clinic.models.base import ScopedModel, code_field, one_of
from clinic.models.episodes import Episode
from clinic.models.guards import append_only
from clinic.models.reach import ScopedQuerySet, reach_of_episodes
from clinic.models.staff import Staff
from clinic.rules.access import Action, Actor


class SelfGivenRightQuerySet(ScopedQuerySet):
    """Everybody sees them; one in an episode is seen by herself and by whoever reaches the episode."""

    def visible_to(self, actor: Actor, action: Action) -> "SelfGivenRightQuerySet":
        care = reach_of_episodes(actor, Action.SEE_EPISODES, path="episode_id")
        of_episode = Q(episode__isnull=True) | Q(staff_id=actor.staff_id) | care
        return super().visible_to(actor, action).filter(of_episode)


class SelfGivenRight(ScopedModel):
    """An administrator gave herself this right, or more days of it. `subject_id` is the row that grants it."""

    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    kind = code_field(GivenRight)
    subject_id = models.UUIDField()
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+", null=True)
    given_at = models.DateTimeField()

    objects = SelfGivenRightQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("kind", GivenRight, name="self_given_right_kind_is_known"),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.kind} of {self.staff_id}"
