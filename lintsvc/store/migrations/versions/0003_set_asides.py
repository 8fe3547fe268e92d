"""Findings that somebody decided to live with."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "set_asides",
        sa.Column("owner", sa.String(64), primary_key=True),
        sa.Column("sha256", sa.String(64), sa.ForeignKey("blobs.sha256", ondelete="CASCADE"), primary_key=True),
        sa.Column("fingerprint", sa.String(64), primary_key=True),
        sa.Column("rule", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("author", sa.Text, nullable=False),
        sa.Column("created", sa.Float(53), nullable=False),
    )
    op.create_index("ix_set_asides_sha256", "set_asides", ["sha256"])
