"""The settings of one site: one class, the only reader of the environment.

Every setting is `TAPELINE_` and its name. Read once at start and passed down; a value
that cannot work stops the start with a sentence that names it.
"""

import os
import re
from collections.abc import Mapping
from datetime import time, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import Field, ValidationError, ValidationInfo, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from app.clinical.owing import Clocks

PREFIX = "TAPELINE_"
DATABASES = ("sqlite:///", "postgresql+psycopg://")
#: Never a single word: an authority limited to "com" would not be limited at all.
WHOLE_NAME = re.compile(r"(?=.{3,64}\Z)([a-z0-9]([a-z0-9-]*[a-z0-9])?\.)+[a-z]{2,}")
#: Of all processes together, and those of each that its threads do not take.
ALL_CONNECTIONS = 85
SPARE_CONNECTIONS = 4
#: A database address may hold a password, so its value is never repeated.
NEVER_SHOWN = frozenset({"database_url", "database_key", "backup_passphrase"})
#: A key is drawn, never thought up: so it needs no stretching at each connection.
KEY = re.compile(r"[0-9a-f]{64}", re.IGNORECASE | re.ASCII)
NO_KEY = (
    "a key is 64 hexadecimal digits, for example what "
    '`python3 -c "import secrets; print(secrets.token_hex(32))"` prints'
)
NOT_A_FILE = (
    "a key encrypts a SQLite file, and not what a PostgreSQL server keeps: take it "
    "away, and encrypt the disk of that machine"
)
#: Whoever has a backup can try passphrases on it for as long as they like.
SHORTEST_SECRET = 8


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


def is_address(host: str) -> bool:
    """Whether a host is said by its number, not by a name."""
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):  # not there, not a name, a folder
        return False
    return True


def _secret_in(path: Path) -> str:
    """What a file holds that its owner alone may read; ValueError when others may."""
    try:
        mode, text = path.stat().st_mode, path.read_text()
    except (OSError, UnicodeDecodeError) as fault:
        raise ValueError("it cannot be read") from fault
    if os.name == "posix" and mode & 0o077:
        raise ValueError("others may read it: chmod 600")
    return text.strip()


class Settings(BaseSettings):
    """What a site may set. Defaults run one therapist's own machine."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX, extra="forbid", frozen=True, str_strip_whitespace=True
    )

    data_dir: Path = Path.home() / ".local" / "share" / "tapeline"
    database_url: str = ""
    database_key: str = Field(default="", repr=False)
    database_key_file: Path | None = None
    site_timezone: str = Field(default_factory=machine_zone)
    host: str = Field(default="127.0.0.1", min_length=1)
    port: int = Field(default=8765, ge=0, le=65535)
    tls_port: int | None = Field(default=None, ge=0, le=65535)
    lan_names: Annotated[tuple[str, ...], NoDecode] = ()
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
    day_pack: Literal["off", "on"] = "off"
    day_pack_until: str = "03:00"
    backup_dir: Path | None = None
    backup_keep: int = Field(default=24, ge=1, le=1000)
    backup_passphrase: str = Field(default="", repr=False)
    backup_passphrase_file: Path | None = None
    #: After the passphrase, without which it cannot be.
    backup_every_hours: int = Field(default=0, ge=0, le=744)
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

    @field_validator("database_key_file", "backup_passphrase_file", mode="before")
    @classmethod
    def _none_when_empty(cls, value: object) -> object:
        return None if value == "" else value

    @field_validator("database_key")
    @classmethod
    def _whole_key(cls, value: str, info: ValidationInfo) -> str:
        if value and not KEY.fullmatch(value):
            raise ValueError(NO_KEY)
        if value and info.data.get("database_url", "").startswith("postgresql"):
            raise ValueError(NOT_A_FILE)
        return value

    @field_validator("database_key_file")
    @classmethod
    def _key_elsewhere(cls, value: Path | None, info: ValidationInfo) -> Path | None:
        """Whoever takes the data folder must not have its key as well."""
        if value is None:
            return None
        folder: Path | None = info.data.get("data_dir")
        if folder is not None and value.resolve().is_relative_to(folder.resolve()):
            raise ValueError("keep it outside the data folder, whose key it is")
        cls._whole_key(_secret_in(value) or "none", info)
        return value.expanduser().absolute()

    @field_validator("backup_dir")
    @classmethod
    def _whole_folder(cls, value: Path | None) -> Path | None:
        return None if value is None else cls._whole_path(value)

    @field_validator("backup_passphrase")
    @classmethod
    def _long_enough(cls, value: str) -> str:
        if value and len(value) < SHORTEST_SECRET:
            raise ValueError(f"it is shorter than {SHORTEST_SECRET} letters")
        return value

    @field_validator("backup_passphrase_file")
    @classmethod
    def _own_eyes_only(cls, value: Path | None) -> Path | None:
        if value is not None and len(_secret_in(value)) < SHORTEST_SECRET:
            raise ValueError(f"it holds fewer than {SHORTEST_SECRET} letters")
        return value

    @field_validator("backup_every_hours")
    @classmethod
    def _with_a_passphrase(cls, value: int, info: ValidationInfo) -> int:
        told = info.data.get("backup_passphrase")
        if value and not (told or info.data.get("backup_passphrase_file")):
            raise ValueError(
                f"a backup needs {PREFIX}BACKUP_PASSPHRASE, or "
                f"{PREFIX}BACKUP_PASSPHRASE_FILE with a file that holds it"
            )
        return value

    @field_validator("site_timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        if not _is_zone(value):
            raise ValueError("it is not a time zone; use a name such as Europe/Vienna")
        return value

    @field_validator("day_pack_until")
    @classmethod
    def _time_of_day(cls, value: str) -> str:
        if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", value, re.ASCII):
            raise ValueError("it is not a time of day; use one such as 03:00")
        return value

    @field_validator("trusted_hosts", "lan_names", mode="before")
    @classmethod
    def _split_names(cls, value: object) -> object:
        if isinstance(value, str):
            return tuple(
                name.strip().lower() for name in value.split(",") if name.strip()
            )
        return value

    @field_validator("lan_names")
    @classmethod
    def _whole_hosts(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for host in value:
            if not (is_address(host) or WHOLE_NAME.fullmatch(host)):
                raise ValueError(
                    "give whole names such as ward.example.org, or addresses"
                )
        return value

    @property
    def secure_port(self) -> int:
        """Where TLS is spoken: the one set, else the next; 0 takes any."""
        if self.tls_port is not None:
            return self.tls_port
        return self.port + 1 if 0 < self.port < 65535 else 0

    @property
    def database(self) -> str:
        """The database's address: the one set, else a file in the data folder.

        The key of an encrypted file stands where an address has its password, so that
        it is hidden wherever an address is shown.
        """
        plain = self.database_url or f"sqlite:///{self.data_dir / 'tapeline.sqlite'}"
        key = self.database_key
        if not key and self.database_key_file is not None:
            key = _secret_in(self.database_key_file)
        if not key or not plain.startswith("sqlite:///"):
            return plain
        return plain.replace("sqlite:///", f"sqlite://:{key}@/", 1)

    @property
    def backups(self) -> Path:
        """Where backups go when nobody says where."""
        return self.backup_dir or self.data_dir / "backups"

    @property
    def backup_every(self) -> timedelta | None:
        """How often one is made by itself; None: never, as in the demo."""
        off = self.demo or self.backup_every_hours == 0
        return None if off else timedelta(hours=self.backup_every_hours)

    @property
    def backup_secret(self) -> str:
        """The passphrase that was set, or lies in the file that was; else empty.

        Raise ValueError, naming both, where the file cannot be used any more.
        """
        if self.backup_passphrase or self.backup_passphrase_file is None:
            return self.backup_passphrase
        name, path = f"{PREFIX}BACKUP_PASSPHRASE_FILE", self.backup_passphrase_file
        try:
            secret = _secret_in(path)
        except ValueError as fault:
            raise ValueError(f"{name} names {path}, but {fault}") from fault
        if len(secret) < SHORTEST_SECRET:  # it may have been emptied since the start
            raise ValueError(
                f"{name} names {path}, which holds fewer than {SHORTEST_SECRET} letters"
            )
        return secret

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
    def pack_ends(self) -> time:
        """When a night ends every day pack, by the site's own clock."""
        return time.fromisoformat(self.day_pack_until)

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
