"""The browser's session in the database: its row ends when it was left alone too long, or has lasted long enough."""

from datetime import UTC, datetime
from typing import Any

from django.conf import settings
from django.contrib.sessions.backends import db
from django.contrib.sessions.base_session import AbstractBaseSession
from django.utils import timezone

from clinic.rules.sessions import ends_at, is_due

BEGUN_AT = "begun_at"


class SessionStore(db.SessionStore):
    """A session whose use moves its end, up to the longest that one may last."""

    def load(self) -> dict[str, Any]:
        row = self._get_session_from_db()  # type: ignore[attr-defined]
        if row is None:
            return {}
        held = self.decode(row.session_data)
        if BEGUN_AT in held:
            self._keep_alive(row, held)
        return held

    def create_model_instance(self, data: dict[str, Any]) -> AbstractBaseSession:
        now = timezone.now()
        data.setdefault(BEGUN_AT, now.timestamp())
        row = super().create_model_instance(data)
        row.expire_date = self._end(data, now)
        return row

    def _keep_alive(self, row: AbstractBaseSession, held: dict[str, Any]) -> None:
        """One statement, which brings back no session that was ended meanwhile."""
        now = timezone.now()
        wanted = self._end(held, now)
        if is_due(written=row.expire_date, wanted=wanted):
            self.model.objects.filter(pk=row.pk, expire_date__gt=now).update(expire_date=wanted)

    def _end(self, held: dict[str, Any], now: datetime) -> datetime:
        begun_at = datetime.fromtimestamp(held[BEGUN_AT], UTC)
        return ends_at(begun_at=begun_at, now=now, idle=settings.SESSION_IDLE, longest=settings.SESSION_LONGEST)
