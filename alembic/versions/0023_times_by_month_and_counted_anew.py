"""Times by month as columns, and counted anew when the hours are changed

Revision ID: 0023
Revises: 0022
"""

import sqlalchemy as sa

from alembic import op

revision = "0023"
down_revision = "0022"


def upgrade() -> None:
    op.create_table(
        "month_columns",
        sa.Column("calendar_id", sa.Integer(), nullable=False),
        sa.Column("month", sa.Integer(), nullable=False),
        sa.Column("layout", sa.Integer(), nullable=False),
        sa.Column("upto_move", sa.Integer(), nullable=False),
        sa.Column("stays", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("columns", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["calendar_id"], ["calendar.id"], name=op.f("fk_month_columns_calendar_id_calendar")),
        sa.PrimaryKeyConstraint("calendar_id", "month", name=op.f("pk_month_columns")),
    )
    op.create_table(
        "recount",
        sa.Column("calendar_id", sa.Integer(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("upto", sa.Integer(), nullable=False),
        sa.Column("last", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["calendar_id"], ["calendar.id"], name=op.f("fk_recount_calendar_id_calendar")),
        sa.PrimaryKeyConstraint("calendar_id", name=op.f("pk_recount")),
    )
    with op.batch_alter_table("calendar") as batch_op:
        batch_op.add_column(sa.Column("zone", sa.String(), nullable=False, server_default=""))
    with op.batch_alter_table("calendar") as batch_op:
        batch_op.alter_column("zone", server_default=None)
    with op.batch_alter_table("lab") as batch_op:
        batch_op.add_column(sa.Column("counted_in", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(op.f("fk_lab_counted_in_calendar"), "calendar", ["counted_in"], ["id"])
    # A visit that another followed has lost its promise; from now on it keeps it.
    op.add_column("visit", sa.Column("promised_on", sa.Date(), nullable=True))
    # Why did a pair stand still in a time that is over? Asked for the pairs of many stays at once.
    op.create_index("ix_hold_pair_id", "hold", ["pair_id"])
    # Times that were left behind by an earlier change of the hours are counted in those of now.
    op.execute(
        "INSERT INTO recount (calendar_id, asked_at, upto) SELECT lab.calendar_id, CURRENT_TIMESTAMP, 0 FROM lab "
        "WHERE lab.calendar_id IS NOT NULL "
        "AND EXISTS (SELECT 1 FROM stay WHERE stay.calendar_id <> lab.calendar_id)"
    )


def downgrade() -> None:
    op.drop_index("ix_hold_pair_id", table_name="hold")
    op.drop_column("visit", "promised_on")
    with op.batch_alter_table("lab") as batch_op:
        batch_op.drop_constraint(op.f("fk_lab_counted_in_calendar"), type_="foreignkey")
        batch_op.drop_column("counted_in")
    with op.batch_alter_table("calendar") as batch_op:
        batch_op.drop_column("zone")
    op.drop_table("recount")
    op.drop_table("month_columns")
