"""Every setting that the environment can give, typed, with its default: the one place that reads it."""

import os
import secrets
import tempfile
from functools import cached_property
from itertools import combinations
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from clinic.mail_url import UnusableMailUrl, mail_settings

TOP = Path(__file__).resolve().parent.parent
LOOPBACK = ["localhost", "127.0.0.1", "[::1]"]
PLACEHOLDERS = ("changeme", "change-me", "change_me", "placeholder", "insecure", "your-secret", "your_secret")
SHORTEST_SECRET = 50
TEAM_SECRETS = ("SECRET_KEY", "PIN_KEY", "AUDIT_KEY")
DATABASE_SCHEMES = {"postgres", "postgresql"}


class UnsafeSetting(Exception):
    """A team's installation was given a value that it must not run with."""


class Environment(BaseSettings):
    """Names are the environment's own. Without DATABASE_URL the embedded defaults hold."""

    model_config = SettingsConfigDict(extra="ignore", case_sensitive=True, hide_input_in_errors=True)

    VAR_DIR: Path = TOP / "var"
    DATABASE_URL: SecretStr | None = None
    REDIS_URL: SecretStr | None = None
    SECRET_KEY: SecretStr | None = None
    PIN_KEY: SecretStr | None = None
    AUDIT_KEY: SecretStr | None = None
    AUDIT_KEYS_BEFORE: Annotated[list[SecretStr], NoDecode] = []
    AUDIT_ANCHOR: Path | None = None
    DEBUG: bool = False
    ALLOWED_HOSTS: Annotated[list[str], NoDecode] = LOOPBACK
    TRUSTED_ORIGINS: Annotated[list[str], NoDecode] = []
    EMAIL_URL: SecretStr | None = None
    EMAIL_FROM: str = "record@localhost"
    TRUSTED_PROXIES: Annotated[int, Field(ge=0)] = 0
    PLAIN_HTTP: bool | None = None
    SESSION_IDLE_MINUTES: Annotated[int, Field(gt=0, le=60)] = 30
    SESSION_HOURS: Annotated[int, Field(gt=0, le=24)] = 8
    REQUESTS_A_MINUTE: Annotated[int, Field(gt=0)] = 600
    LOG_LEVEL: Literal["DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL"] = "INFO"
    STATEMENT_TIMEOUT_MS: Annotated[int, Field(gt=0)] = 30_000

    @field_validator("ALLOWED_HOSTS", "TRUSTED_ORIGINS", "AUDIT_KEYS_BEFORE", mode="before")
    @classmethod
    def _listed(cls, value: object) -> object:
        return [part.strip() for part in value.split(",") if part.strip()] if isinstance(value, str) else value

    @field_validator(
        "DATABASE_URL", "REDIS_URL", "EMAIL_URL", "SECRET_KEY", "PIN_KEY", "AUDIT_KEY", "AUDIT_ANCHOR", mode="before"
    )
    @classmethod
    def _absent(cls, value: object) -> object:
        return None if value == "" else value

    @field_validator("DATABASE_URL")
    @classmethod
    def _postgresql(cls, value: SecretStr | None) -> SecretStr | None:
        if value is not None and urlsplit(value.get_secret_value()).scheme not in DATABASE_SCHEMES:
            raise ValueError("give a postgresql:// URL")
        return value

    @property
    def embedded(self) -> bool:
        return self.DATABASE_URL is None

    @property
    def plain_http(self) -> bool:
        """Only the embedded mode, which listens on this machine alone, speaks plain HTTP unasked."""
        return self.embedded if self.PLAIN_HTTP is None else self.PLAIN_HTTP

    @property
    def mail(self) -> dict[str, Any]:
        """The settings of mail: one machine keeps letters in a folder until it is told of a server."""
        given = self.EMAIL_URL.get_secret_value() if self.EMAIL_URL else None
        try:
            return mail_settings(given, kept_in=self.VAR_DIR / "mail" if self.embedded else None)
        except UnusableMailUrl as exc:
            raise UnsafeSetting(str(exc)) from None

    @cached_property
    def secret_key(self) -> str:
        return self._given_or_kept(self.SECRET_KEY, "secret_key")

    @cached_property
    def pin_key(self) -> str:
        """Keys the HMAC under every signing PIN's hash, so that a stolen table alone cannot be guessed."""
        return self._given_or_kept(self.PIN_KEY, "pin_key")

    @cached_property
    def audit_key(self) -> str:
        """Keys the seals over the record, so that whoever can write the tables cannot set a seal."""
        return self._given_or_kept(self.AUDIT_KEY, "audit_key")

    @property
    def audit_keys_before(self) -> list[str]:
        return [key.get_secret_value() for key in self.AUDIT_KEYS_BEFORE]

    @property
    def audit_anchor(self) -> Path:
        """The file outside the database in which each seal leaves a line."""
        return self.AUDIT_ANCHOR or self.VAR_DIR / "anchor.jsonl"

    def _given_or_kept(self, given: SecretStr | None, name: str) -> str:
        return given.get_secret_value() if given else kept_secret(self.VAR_DIR / name)

    def refuse_unsafe(self) -> None:
        """Stop a team's installation that would run with a value fit for one machine only; names the value."""
        if self.embedded:
            return
        secrets_given = {name: getattr(self, name) for name in TEAM_SECRETS}
        for name, given in secrets_given.items():
            _refuse_weak(name, given)
        for earlier, later in combinations(TEAM_SECRETS, 2):
            if secrets_given[earlier] == secrets_given[later]:
                raise UnsafeSetting(f"{later} is the same as {earlier}: give it random characters of its own")
        if self.DEBUG:
            raise UnsafeSetting("DEBUG is on: it would show the record's content in error pages")
        if any(host.lstrip(".") in ("*", "") for host in self.ALLOWED_HOSTS):
            raise UnsafeSetting("ALLOWED_HOSTS lets every host in: name the service's own")
        if self.PLAIN_HTTP:
            raise UnsafeSetting("PLAIN_HTTP is on: signatures and records must travel over TLS")


def _refuse_weak(name: str, given: SecretStr | None) -> None:
    if given is None:
        raise UnsafeSetting(f"{name} is not set: a team's installation needs one of its own")
    secret = given.get_secret_value()
    if len(secret) < SHORTEST_SECRET or any(word in secret.lower() for word in PLACEHOLDERS):
        raise UnsafeSetting(f"{name} is too short or a placeholder: give {SHORTEST_SECRET} random characters")


def kept_secret(path: Path) -> str:
    """The secret kept in this file, made on first use and readable by its owner alone."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.exists():
        _make_secret(path)
    secret = path.read_text().strip()
    if len(secret) < SHORTEST_SECRET:
        raise UnsafeSetting(f"{path.name} in {path.parent} is damaged: restore it, or remove it to have a new one made")
    return secret


def _make_secret(path: Path) -> None:
    """Appears whole or not at all: of two processes that start at once, the first one's secret stays."""
    handle, unfinished = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    with os.fdopen(handle, "w") as file:
        file.write(secrets.token_urlsafe(64))
        file.flush()
        os.fsync(handle)
    try:
        os.link(unfinished, path)
    except FileExistsError:
        return
    finally:
        os.unlink(unfinished)
