"""Whether a stored file is needed is asked by its name."""

from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.create_index("ix_artefacts_blob", "artefacts", ["blob"])
