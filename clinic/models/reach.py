"""Which rows a person can reach today: one statement of care, used by every query that shows a child's record."""

from typing import Any

from django.db import models
from django.db.models import Q
from django.db.models.expressions import RawSQL

from clinic.rules.access import Action, Actor, Relation, relations

IN_FORCE = "{0}.starts_on <= %s AND ({0}.ends_on IS NULL OR {0}.ends_on >= %s)"

TREATED = f"""
    SELECT mine.episode_id FROM clinic_careteam mine
    WHERE mine.staff_id = %s AND {IN_FORCE.format("mine")}"""  # noqa: S608

# The narrowest primary assignment wins: a wider one reaches only where no narrower one is in force.
ANSWERING = f"""
    FROM clinic_supervision held
    JOIN clinic_careteam theirs ON theirs.staff_id = held.assistant_id AND {IN_FORCE.format("theirs")}
    JOIN clinic_episode answered ON answered.id = theirs.episode_id
      AND held.scope_id IN (answered.id, answered.site_id, answered.organization_id)
    WHERE {IN_FORCE.format("held")}
      AND (held.kind = 'covering' OR NOT EXISTS (
        SELECT 1 FROM clinic_supervision narrower
        WHERE narrower.assistant_id = held.assistant_id AND narrower.kind = 'primary'
          AND {IN_FORCE.format("narrower")}
          AND ((held.scope = 'organization' AND narrower.scope_id IN (answered.site_id, answered.id))
            OR (held.scope = 'site' AND narrower.scope_id = answered.id))))"""  # noqa: S608
ANSWERED_FOR = f"""
    SELECT theirs.episode_id {ANSWERING} AND held.supervisor_id = %s"""  # noqa: S608

BEGUN_OF_HERS = """
    SELECT begun.client_id FROM clinic_episode begun JOIN clinic_client entered ON entered.id = begun.client_id
    WHERE entered.entered_by_id = %s"""

READ_WITH_REASON = """
    SELECT stated.document_id FROM clinic_documentreading stated
    WHERE stated.staff_id = %s AND stated.begun_at <= %s AND stated.ends_at > %s"""


def care_sql(actor: Actor, granted: frozenset[Relation]) -> tuple[str, list[Any]]:
    """SQL that lists the episodes which these relations reach today, with its parameters."""
    parts: list[str] = []
    params: list[Any] = []
    today = actor.today
    if Relation.ON_TEAM in granted:
        parts.append(TREATED)
        params += [actor.staff_id, today, today]
    if Relation.SUPERVISES in granted:
        parts.append(ANSWERED_FOR)
        params += [today, today, today, today, today, today, actor.staff_id]
    return "\n    UNION".join(parts) or "SELECT NULL::uuid WHERE false", params


def reach_of_episodes(actor: Actor, action: Action, *, path: str) -> Q:
    """A condition on rows whose episode stands at `path`, for one action of one actor."""
    granted = relations(actor, action)
    if Relation.ORGANIZATION in granted:
        return Q(organization_id=actor.organization_id)
    sql, params = care_sql(actor, granted)
    return Q(organization_id=actor.organization_id) & Q(**{f"{path}__in": RawSQL(sql, params)})  # noqa: S611


class ScopedQuerySet(models.QuerySet):
    """Rows that everybody of the organization with the role may see."""

    def of(self, actor: Actor) -> "ScopedQuerySet":
        return self.filter(organization_id=actor.organization_id)

    def visible_to(self, actor: Actor, action: Action) -> "ScopedQuerySet":
        granted = relations(actor, action)
        return self.of(actor) if Relation.ORGANIZATION in granted else self.none()


class ReachQuerySet(models.QuerySet):
    """Rows that hang on an episode, reached as the episode is. `episode_path` says where it stands."""

    episode_path = "episode_id"

    def visible_to(self, actor: Actor, action: Action) -> "ReachQuerySet":
        return self.filter(reach_of_episodes(actor, action, path=self.episode_path))


class EpisodeQuerySet(ReachQuerySet):
    episode_path = "pk"


class ClientQuerySet(models.QuerySet):
    """Children of whom an episode is in reach, and those whom she entered herself and who have none yet."""

    def visible_to(self, actor: Actor, action: Action) -> "ClientQuerySet":
        granted = relations(actor, action)
        mine = self.filter(organization_id=actor.organization_id)
        if Relation.ORGANIZATION in granted:
            return mine
        sql, params = care_sql(actor, granted)
        of_client = f"SELECT reached.client_id FROM clinic_episode reached WHERE reached.id IN ({sql})"  # noqa: S608
        reached = Q(pk__in=RawSQL(of_client, params))  # noqa: S611
        if granted and actor.staff_id is not None:
            begun = RawSQL(BEGUN_OF_HERS, [actor.staff_id])  # noqa: S611
            reached |= Q(entered_by_id=actor.staff_id) & ~Q(pk__in=begun)
        return mine.filter(reached)


class ClientRowQuerySet(models.QuerySet):
    """Rows that hang on a child, reached as the child is."""

    def visible_to(self, actor: Actor, action: Action) -> "ClientRowQuerySet":
        granted = relations(actor, action)
        mine = self.filter(organization_id=actor.organization_id)
        if Relation.ORGANIZATION in granted:
            return mine
        sql, params = care_sql(actor, granted)
        of_client = f"SELECT reached.client_id FROM clinic_episode reached WHERE reached.id IN ({sql})"  # noqa: S608
        return mine.filter(client_id__in=RawSQL(of_client, params))  # noqa: S611


class DocumentQuerySet(models.QuerySet):
    """Documents of episodes in reach, those that the actor wrote or signed, and those that she gave a reason for."""

    def visible_to(self, actor: Actor, action: Action) -> "DocumentQuerySet":
        granted = relations(actor, action)
        if Relation.ORGANIZATION in granted:
            return self.filter(organization_id=actor.organization_id)
        condition = Q(episode_id__in=RawSQL(*care_sql(actor, granted)))  # noqa: S611
        if Relation.AUTHOR in granted:
            signed = RawSQL(  # noqa: S611
                "SELECT v.document_id FROM clinic_signature s JOIN clinic_documentversion v ON v.id = s.version_id "
                "WHERE s.signer_id = %s",
                [actor.staff_id],
            )
            condition |= Q(author_id=actor.staff_id) | Q(pk__in=signed)
        if Relation.ASKED in granted:
            condition |= Q(cosign_owner_id=actor.staff_id)
        if Relation.STATED in granted:
            condition |= Q(pk__in=RawSQL(READ_WITH_REASON, [actor.staff_id, actor.now, actor.now]))  # noqa: S611
        return self.filter(condition, organization_id=actor.organization_id)
