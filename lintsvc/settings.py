"""All settings, from the environment, in one table: `Settings` below, one field a variable.

A variable is `LINTSVC_` and the field's name in capitals. `lintsvc serve --settings` and the deployment
page print the table from here, so it is written once.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, Literal, cast

PREFIX = "LINTSVC_"
#: Names the serving process in the environment of a worker that it has started.
SERVED_BY = "LINTSVC_SERVED_BY"
MIB = 1024 * 1024


class BadSetting(Exception):
    """A variable of the environment cannot be used. Says which, and what it may be."""


def _setting(default: Any, help: str) -> Any:
    return field(default=default, metadata={"help": help})


def _default_state() -> Path:
    base = os.environ.get("XDG_STATE_HOME") or "~/.local/state"
    return Path(base).expanduser() / "lintsvc"


@dataclass(frozen=True, slots=True)
class Settings:
    """What a serving process and a worker are told. Sizes are MiB, times seconds or days, as named."""

    # Where things are kept
    state: Path = field(
        default_factory=_default_state,
        metadata={"help": "Folder for everything that is kept: records, uploads, the queue's own files."},
    )
    redis_url: str = _setting("", "Redis as redis:// or unix://. Empty: a private one is started in the state folder.")
    database_url: str = _setting("", "Records as postgresql://. Empty: SQLite in the state folder.")
    blobs: str = _setting("", "Uploads and results: a folder, or s3://bucket/prefix. Empty: in the state folder.")
    s3_endpoint: str = _setting("", "Address of the S3 store, where it is not the default one.")
    rules: str = _setting("", "Folders of more rule packs, separated as PATH is.")
    rule_code: Literal["auto", "on", "off"] = _setting(
        "auto",
        "Whether rules in those folders may be code. auto: where one person serves themselves, without tokens; "
        "else only limit rules (TOML) are taken.",
    )
    # How long
    keep_days: float = _setting(30.0, "Checks older than this are purged with their files. 0 keeps them for ever.")
    # Who may
    tokens: Literal["auto", "required", "off"] = _setting(
        "auto", "auto: no tokens on a loopback address, needed elsewhere. required: always. off: never."
    )
    origins: str = _setting("", "Host names that the page is reached by, comma-separated. Empty: any with tokens.")
    requests_a_minute: int = _setting(1200, "Requests that one token, or one address without, may make a minute.")
    quota_mib: int = _setting(20_480, "What the stored files of one token may add up to.")
    quota_waiting: int = _setting(5_000, "Checks of one token that may wait at once.")
    # What is let in
    upload_mib: int = _setting(500, "Largest file.")
    files_a_check: int = _setting(20, "Most files in one check.")
    upload_idle_seconds: float = _setting(30.0, "An upload that sends nothing for so long is given up.")
    # One check
    file_seconds: float = _setting(120.0, "Wall time for one file.")
    step_seconds: float = _setting(30.0, "Wall time for one step or rule of it.")
    memory_mib: int = _setting(4_608, "Memory of the child that checks a file, beyond what it shares.")
    written_mib: int = _setting(1_024, "Largest file that the child may write; all its files may be twice that.")
    # The queue
    workers: int = _setting(1, "Worker processes started by the serving process. 0: none.")
    jobs: int = _setting(0, "Files checked at once by one worker. 0: one for each core.")
    lease_seconds: float = _setting(20.0, "A worker that is not heard of for so long is taken as dead.")
    resend_seconds: float = _setting(10.0, "A waiting check is called out again after this.")
    deaths: int = _setting(2, "A check whose worker died this many times is given up, with a report.")
    stop_seconds: float = _setting(5.0, "When told to stop, what runs may take this long before it is handed back.")
    later_seconds: float = _setting(
        3.0, "A worker loads what STEP files, reports and orders need after so long, or when it is first needed."
    )
    # Watching it
    log: Literal["text", "json"] = _setting("text", "How log lines are written.")

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Settings:
        """Read all variables. Raises BadSetting naming the variable for a value of the wrong kind."""
        env = os.environ if environment is None else environment
        given = {
            x.name: _parse(x.name, str(x.type), env[PREFIX + x.name.upper()])
            for x in fields(cls)
            if env.get(PREFIX + x.name.upper())
        }
        return cls(**given)

    def to_environment(self) -> dict[str, str]:
        """The variables that give a child process the same settings."""
        return {PREFIX + x.name.upper(): str(getattr(self, x.name)) for x in fields(self)}

    @property
    def sqlalchemy_url(self) -> str:
        """Address of the records as SQLAlchemy takes it."""
        if not self.database_url:
            return f"sqlite:///{self.state / 'records.sqlite3'}"
        for name in ("postgresql://", "postgres://"):
            if self.database_url.startswith(name):
                return "postgresql+psycopg://" + self.database_url[len(name) :]
        return self.database_url

    @property
    def blob_root(self) -> str:
        """Folder or s3:// address of the blobs."""
        return self.blobs or str(self.state / "blobs")

    @property
    def broker_url(self) -> str:
        """Address of Redis as Celery takes it."""
        if self.redis_url.startswith("unix://"):
            return "redis+socket://" + self.redis_url[len("unix://") :]
        return self.redis_url

    @property
    def rule_folders(self) -> tuple[Path, ...]:
        """Folders of more rule packs."""
        return tuple(Path(x) for x in self.rules.split(os.pathsep) if x)

    @property
    def job_count(self) -> int:
        """How many files one worker checks at once."""
        return self.jobs or len(os.sched_getaffinity(0))

    @property
    def incoming(self) -> Path:
        """Folder where uploads are written while they come in."""
        return self.state / "incoming"

    @property
    def measured(self) -> Path:
        """Folder of what a worker has measured a moment ago."""
        return self.state / "measured"

    @property
    def scratch(self) -> Path:
        """Folder of the children's scratch folders."""
        return self.state / "scratch"


def _parse(name: str, kind: str, text: str) -> Any:
    variable = PREFIX + name.upper()
    if kind == "Path":
        return Path(text).expanduser().absolute()
    if kind.startswith("Literal"):
        words = [x.strip("\"' ") for x in kind[len("Literal[") : -1].split(",")]
        if text not in words:
            raise BadSetting(f"{variable}={text!r}: it may be {', '.join(words)}")
        return text
    if kind == "str":
        return text
    try:
        value: float = int(text) if kind == "int" else float(text)
    except ValueError:
        raise BadSetting(f"{variable}={text!r}: it must be a {'whole ' if kind == 'int' else ''}number") from None
    if not 0 <= value < float("inf"):
        raise BadSetting(f"{variable}={text!r}: it must be 0 or more")
    return value


def table() -> Iterator[tuple[str, str, str]]:
    """Yield (variable, default, what it is for) for every setting."""
    for x in fields(Settings):
        default = "~/.local/state/lintsvc" if x.name == "state" else str(cast(object, x.default))
        yield PREFIX + x.name.upper(), default, str(x.metadata["help"])
