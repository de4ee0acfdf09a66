"""How many requests somebody may make in a minute, counted where every process counts along.

A team counts in Redis, one machine in this process. When Redis does not answer, nobody is refused: a limit protects
the service, and the record must be reached without it.
"""

import threading
import time
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

import redis
import structlog
from django.conf import settings

SECONDS = 60
ANSWERS_WITHIN = 0.25
LEFT_ALONE_FOR = 5.0
log = structlog.get_logger("limits")


@dataclass(frozen=True)
class Standing:
    """What is left of a limit to one caller, and in how many seconds it begins anew."""

    limit: str
    quota: int
    used: int
    seconds: int

    @property
    def exceeded(self) -> bool:
        return self.used > self.quota

    @property
    def left(self) -> int:
        return max(0, self.quota - self.used)


def charge(limit: str, who: str, *, now: datetime) -> Standing:
    """Count one request of this caller under one of settings.REQUESTS_A_MINUTE; never fails."""
    minute, second = divmod(int(now.timestamp()), SECONDS)
    used = _counter(settings.REDIS_URL).add(f"requests/{limit}/{who}/{minute}")
    return Standing(limit, settings.REQUESTS_A_MINUTE[limit], used, SECONDS - second)


class Here:
    """Counts in this process; whatever is older than the running minute is forgotten with it."""

    def __init__(self) -> None:
        self._counted: Counter[str] = Counter()
        self._minute = ""
        self._lock = threading.Lock()

    def add(self, key: str) -> int:
        minute = key.rpartition("/")[2]
        with self._lock:
            if minute != self._minute:
                self._counted.clear()
                self._minute = minute
            self._counted[key] += 1
            return self._counted[key]


class Shared:
    """Counts in Redis, in one round trip; a Redis that does not answer is left alone for a while."""

    def __init__(self, url: str) -> None:
        self._redis = redis.Redis.from_url(url, socket_timeout=ANSWERS_WITHIN, socket_connect_timeout=ANSWERS_WITHIN)
        self._asked_again_at = 0.0

    def add(self, key: str) -> int:
        if time.monotonic() < self._asked_again_at:
            return 0
        try:
            with self._redis.pipeline(transaction=False) as asked:
                asked.incr(key)
                asked.expire(key, 2 * SECONDS)
                used, _ = asked.execute()
        except redis.RedisError as exc:
            self._asked_again_at = time.monotonic() + LEFT_ALONE_FOR
            log.warning("not counted", code=type(exc).__name__)
            return 0
        return int(used)


@lru_cache(maxsize=1)
def _counter(url: str | None) -> Here | Shared:
    return Shared(url) if url else Here()
