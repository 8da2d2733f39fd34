"""The settings of one site: one class, the only reader of the environment.

Every setting is `TAPELINE_` and its name. Read once at start and passed down; a value
that cannot work stops the start with a sentence that names it.
"""

import os
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import Field, ValidationError, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from app.clinical.owing import Clocks

PREFIX = "TAPELINE_"
DATABASES = ("sqlite:///", "postgresql+psycopg://")
#: Of all processes together, and those of each that its threads do not take.
ALL_CONNECTIONS = 85
SPARE_CONNECTIONS = 4
#: A database address may hold a password, so its value is never repeated.
NEVER_SHOWN = frozenset({"database_url"})


class SettingsProblem(Exception):
    """A setting that cannot work. `sentence` names it and says what would."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


def machine_zone(localtime: Path = Path("/etc/localtime")) -> str:
    """The zone this machine is set to, by name; UTC when it does not say."""
    linked = str(localtime.resolve()).partition("zoneinfo/")[2]
    for name in (os.environ.get("TZ", "").lstrip(":"), linked):
        if name and _is_zone(name):
            return name
    return "UTC"


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):  # not there, not a name, a folder
        return False
    return True


class Settings(BaseSettings):
    """What a site may set. Defaults run one therapist's own machine."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX, extra="forbid", frozen=True, str_strip_whitespace=True
    )

    data_dir: Path = Path.home() / ".local" / "share" / "tapeline"
    database_url: str = ""
    site_timezone: str = Field(default_factory=machine_zone)
    host: str = Field(default="127.0.0.1", min_length=1)
    port: int = Field(default=8765, ge=0, le=65535)
    workers: int = Field(default=1, ge=1, le=8)
    trusted_hosts: Annotated[tuple[str, ...], NoDecode] = ()
    secure_cookies: bool = False
    idle_minutes: int = Field(default=5, ge=0, le=720)
    report_treatment_days: int = Field(default=10, ge=0, le=100)
    recertify_days: int = Field(default=90, ge=0, le=400)
    reassess_days: int = Field(default=0, ge=0, le=400)
    retest_days: int | None = Field(default=None, ge=0, le=400)
    competence_months: int = Field(default=12, ge=0, le=60)
    units_rule: Literal["medicare", "each", "none"] = "medicare"
    note_order: Literal["soap", "apso"] = "soap"
    identifiers: Literal["minimal", "full"] = "minimal"
    demo: bool = False

    @field_validator("data_dir")
    @classmethod
    def _whole_path(cls, value: Path) -> Path:
        if value.exists() and not value.is_dir():
            raise ValueError("it is a file, not a folder")
        return value.expanduser().absolute()

    @field_validator("database_url")
    @classmethod
    def _known_database(cls, value: str) -> str:
        if value and not value.startswith(DATABASES):
            raise ValueError("it must start with " + " or ".join(DATABASES))
        return value

    @field_validator("site_timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        if not _is_zone(value):
            raise ValueError("it is not a time zone; use a name such as Europe/Vienna")
        return value

    @field_validator("trusted_hosts", mode="before")
    @classmethod
    def _split_names(cls, value: object) -> object:
        if isinstance(value, str):
            return tuple(
                name.strip().lower() for name in value.split(",") if name.strip()
            )
        return value

    @property
    def database(self) -> str:
        """The database's address: the one set, else a file in the data folder."""
        return self.database_url or f"sqlite:///{self.data_dir / 'tapeline.sqlite'}"

    @property
    def connections(self) -> int:
        """How many a process may open: a PostgreSQL server as it comes lets 97 in."""
        return ALL_CONNECTIONS // self.workers

    @property
    def threads(self) -> int:
        """How many requests a process works on at once; some hold two connections."""
        return min(40, self.connections - SPARE_CONNECTIONS)

    @property
    def idle(self) -> timedelta | None:
        """How long a sign-in may rest before it locks; None: it never does.

        In the demo nobody has a passphrase to unlock with.
        """
        off = self.demo or self.idle_minutes == 0
        return None if off else timedelta(minutes=self.idle_minutes)

    @property
    def clocks(self) -> Clocks:
        return Clocks(
            self.report_treatment_days, self.recertify_days, self.reassess_days,
            self.retest_days,
        )  # fmt: skip

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.site_timezone)

    @classmethod
    def read(cls, given: Mapping[str, Any] | None = None) -> Self:
        """The environment's settings, `given` (the command line's) before them.

        Raises SettingsProblem with one sentence for the first value that cannot work.
        """
        try:
            return cls(**(given or {}))
        except ValidationError as fault:
            raise SettingsProblem(_sentence(fault)) from None


def _sentence(fault: ValidationError) -> str:
    first = fault.errors(include_url=False)[0]
    name = str(first["loc"][0])
    why = first["msg"].removeprefix("Value error, ")
    why = why[0].lower() + why[1:]
    if name in NEVER_SHOWN:
        return f"{PREFIX}{name.upper()} cannot be used: {why}."
    return f"{PREFIX}{name.upper()}={str(first['input'])!r} cannot be used: {why}."
