"""The bench's settings, and the sheets that were printed by them

Revision ID: 0011
Revises: 0010
"""

import sqlalchemy as sa

from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    op.create_table(
        "bench_setup",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_setup")),
    )
    op.create_table(
        "printed_sheet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("codes", sa.JSON(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("given", sa.JSON(), nullable=False),
        sa.Column("printed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("printed_by", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["printed_by"], ["staff.id"], name=op.f("fk_printed_sheet_printed_by_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_printed_sheet")),
    )


def downgrade() -> None:
    op.drop_table("printed_sheet")
    op.drop_table("bench_setup")
