"""Orders: parts that go out, and belong, together."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.create_table(
        "orders",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("owner", sa.String(64), nullable=False),
        sa.Column("created", sa.Float(53), nullable=False),
        sa.Column("expires", sa.Float(53), nullable=False),
        sa.Column("files", sa.Text, nullable=False),
        sa.Column("bytes", sa.BigInteger, nullable=False),
    )
    op.create_index("ix_orders_owner", "orders", ["owner"])
    op.create_index("ix_orders_expires", "orders", ["expires"])
