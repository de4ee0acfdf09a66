"""Who cares for a child today: not scoped, since these are the people to be told."""

from datetime import date
from uuid import UUID

from django.db import connection

from clinic.models.reach import ANSWERING, IN_FORCE

CARING = f"""
SELECT mine.staff_id FROM clinic_careteam mine JOIN clinic_episode treated ON treated.id = mine.episode_id
WHERE {IN_FORCE.format("mine")} AND treated.{{whose}} = %s
UNION SELECT held.supervisor_id {ANSWERING} AND answered.{{whose}} = %s"""  # noqa: S608


def caring_for(client_id: UUID, *, today: date) -> set[UUID]:
    """Whoever treats this child in any episode, and whoever answers there for one who does."""
    return _caring("client_id", client_id, today)


def caring_in(episode_id: UUID, *, today: date) -> set[UUID]:
    """Whoever treats in this episode, and whoever answers there for one who does."""
    return _caring("id", episode_id, today)


def _caring(whose: str, row_id: UUID, today: date) -> set[UUID]:
    with connection.cursor() as cursor:
        cursor.execute(CARING.format(whose=whose), [today, today, row_id, *[today] * 6, row_id])
        return {row[0] for row in cursor.fetchall()}
