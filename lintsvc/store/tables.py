"""The records' tables. Times are seconds since 1970 (UTC); JSON is kept as text.

The records are the truth: the queue only carries wake-up calls, and events are a convenience.
Foreign keys guard against the one race that matters: a blob is never purged while a check that
was made in the same instant needs it.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    false,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
    }
)

checks = Table(
    "checks",
    metadata,
    Column("id", String(64), primary_key=True),
    #: Id of the token that made it; empty without tokens.
    Column("owner", String(64), nullable=False),
    #: queued, running, done, failed or cancelled.
    Column("state", String(16), nullable=False),
    Column("created", Float(53), nullable=False),
    Column("finished", Float(53)),
    #: The choices as sent, for all files of the check.
    Column("choices", Text, nullable=False),
    Column("files", Integer, nullable=False),
    Column("bytes", BigInteger, nullable=False),
    #: 0 for a few small files, 1 for the rest; then by turn, which is fair between owners.
    Column("lane", Integer, nullable=False),
    Column("turn", Float(53), nullable=False),
    #: How often a worker took it. More than that it was handed back means that workers died.
    Column("attempts", Integer, nullable=False, server_default="0"),
    #: Secret of the worker that has it, and until when it is believed to live.
    Column("claim", String(64)),
    Column("lease", Float(53), nullable=False, server_default="0"),
    #: When a wake-up call was last sent for it.
    Column("sent", Float(53), nullable=False, server_default="0"),
    Column("cancel", Boolean, nullable=False, server_default=false()),
    Column("step", String(128), nullable=False, server_default=""),
    Column("percent", Float(53), nullable=False, server_default="0"),
    #: Counts by level and the like, once it is done.
    Column("summary", Text),
    #: Why it failed, in words.
    Column("why", Text, nullable=False, server_default=""),
    #: Id of the request that made it: the thread through the logs.
    Column("request", String(64), nullable=False, server_default=""),
    Index("ix_checks_state_lane_turn", "state", "lane", "turn"),
    Index("ix_checks_state_turn", "state", "turn"),
    Index("ix_checks_owner_created_id", "owner", "created", "id"),
    Index("ix_checks_owner_state_lane", "owner", "state", "lane"),
    Index("ix_checks_created", "created"),
)

blobs = Table(
    "blobs",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("bytes", BigInteger, nullable=False),
)

holds = Table(
    "holds",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("sha256", String(64), ForeignKey("blobs.sha256"), nullable=False, index=True),
    Column("until", Float(53), nullable=False),
)

results = Table(
    "results",
    metadata,
    #: Hash of the file's bytes, the choices, the packs and the version.
    Column("key", String(64), primary_key=True),
    Column("created", Float(53), nullable=False),
    Column("summary", Text, nullable=False),
)

check_files = Table(
    "check_files",
    metadata,
    Column("check_id", String(64), ForeignKey("checks.id", ondelete="CASCADE"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("sha256", String(64), ForeignKey("blobs.sha256"), nullable=False, index=True),
    Column("bytes", BigInteger, nullable=False),
    #: Key that the result will have; empty until a worker has said which packs it has.
    Column("key", String(64), nullable=False, server_default="", index=True),
    Column("result", String(64), ForeignKey("results.key"), index=True),
)

artefacts = Table(
    "artefacts",
    metadata,
    #: `result/KEY` or `check/ID`: what it is purged with.
    Column("place", String(80), primary_key=True),
    Column("name", String(80), primary_key=True),
    #: Name of its blob; empty for something small, which stands in `data`, packed by zlib.
    Column("blob", Text, nullable=False, index=True),
    Column("data", LargeBinary),
    Column("bytes", BigInteger, nullable=False),
    Column("created", Float(53), nullable=False),
)

idempotency = Table(
    "idempotency",
    metadata,
    Column("owner", String(64), primary_key=True),
    Column("key", String(255), primary_key=True),
    #: Hash of what was sent: one key for two different requests is refused.
    Column("request", String(64), nullable=False),
    Column("check_id", String(64), ForeignKey("checks.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("created", Float(53), nullable=False),
)

uploads = Table(
    "uploads",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("owner", String(64), nullable=False, index=True),
    Column("name", Text, nullable=False),
    Column("length", BigInteger, nullable=False),
    Column("offset", BigInteger, nullable=False, server_default="0"),
    Column("parts", Integer, nullable=False, server_default="0"),
    #: Set when all of it is there.
    Column("sha256", String(64), ForeignKey("blobs.sha256"), index=True),
    Column("expires", Float(53), nullable=False),
)

tokens = Table(
    "tokens",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("name", Text, nullable=False),
    Column("hash", String(64), nullable=False, unique=True),
    #: Space-separated: `check`, `read`, `admin`.
    Column("scopes", Text, nullable=False),
    Column("created", Float(53), nullable=False),
    Column("expires", Float(53)),
    Column("revoked", Float(53)),
)

shares = Table(
    "shares",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("check_id", String(64), ForeignKey("checks.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("hash", String(64), nullable=False, unique=True),
    Column("created", Float(53), nullable=False),
    Column("expires", Float(53)),
)

#: Findings that somebody decided to live with, kept with the file's content.
set_asides = Table(
    "set_asides",
    metadata,
    Column("owner", String(64), primary_key=True),
    Column("sha256", String(64), ForeignKey("blobs.sha256", ondelete="CASCADE"), primary_key=True, index=True),
    Column("fingerprint", String(64), primary_key=True),
    Column("rule", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("created", Float(53), nullable=False),
)

#: Orders: parts together. Their files are kept by holds, what was made of them stands at `order/ID`.
orders = Table(
    "orders",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("owner", String(64), nullable=False, index=True),
    Column("created", Float(53), nullable=False),
    Column("expires", Float(53), nullable=False, index=True),
    #: The order file first, then the parts: name, hash, size, hold.
    Column("files", Text, nullable=False),
    Column("bytes", BigInteger, nullable=False),
)

#: What the files of an owner add up to, so that no upload has to add them up again.
usage = Table(
    "usage",
    metadata,
    Column("owner", String(64), primary_key=True),
    Column("bytes", BigInteger, nullable=False),
)

#: What workers tell the web process: the catalogue of rules.
facts = Table(
    "facts",
    metadata,
    Column("name", String(64), primary_key=True),
    Column("value", Text, nullable=False),
    Column("updated", Float(53), nullable=False),
)
