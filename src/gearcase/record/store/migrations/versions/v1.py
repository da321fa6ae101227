"""Version 1: readings with all their words in each row, and events of watch and people in one table."""

import sqlalchemy as sa
from alembic import op

revision = "1"
down_revision = None


def upgrade() -> None:
    """Make the tables; nobody does so any more, but every store of version 1 has them."""
    op.create_table("schema", sa.Column("version", sa.Integer, nullable=False))
    op.create_table(
        "readings",
        sa.Column("point", sa.Text, primary_key=True),
        sa.Column("quantity", sa.Text, primary_key=True),
        sa.Column("time_s", sa.Double, primary_key=True),
        sa.Column("value", sa.Double),
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("quality", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_index("readings_by_time", "readings", ["time_s"])
    op.create_table(
        "events",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("time_s", sa.Double, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("point", sa.Text, nullable=False),
        sa.Column("says", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("details", sa.JSON, nullable=False),
    )
    op.create_index("ix_events_time_s", "events", ["time_s"])
    op.execute("INSERT INTO schema (version) VALUES (1)")
