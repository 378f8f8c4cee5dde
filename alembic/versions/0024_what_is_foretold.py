"""What is foretold

Revision ID: 0024
Revises: 0023
"""

import sqlalchemy as sa

from alembic import op

revision = "0024"
down_revision = "0023"


def upgrade() -> None:
    op.create_table(
        "back_test",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("weeks", sa.Integer(), nullable=False),
        sa.Column("wanted", sa.Integer(), nullable=False),
        sa.Column("scores", sa.JSON(), nullable=False),
        sa.Column("learnt", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_back_test")),
    )
    op.create_table(
        "forecast_made",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seed", sa.Integer(), nullable=False),
        sa.Column("runs", sa.Integer(), nullable=False),
        sa.Column("pairs", sa.Integer(), nullable=False),
        sa.Column("stays", sa.Integer(), nullable=False),
        sa.Column("thin", sa.JSON(), nullable=False),
        sa.Column("learnt_from", sa.Integer(), nullable=False),
        sa.Column("snapshot", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forecast_made")),
    )
    op.create_table(
        "order_forecast",
        sa.Column("way", sa.String(), nullable=False),
        sa.Column("by_parcel", sa.Boolean(), nullable=False),
        sa.Column("trims", sa.Boolean(), nullable=False),
        sa.Column("start", sa.String(), nullable=False),
        sa.Column("days", sa.JSON(), nullable=False),
        sa.Column("missing", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("way", "by_parcel", "trims", "start", name=op.f("pk_order_forecast")),
    )
    op.create_table(
        "back_test_week",
        sa.Column("monday", sa.Date(), nullable=False),
        sa.Column("calendar_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("forecasts", sa.Integer(), nullable=False),
        sa.Column("waiting", sa.Integer(), nullable=False),
        sa.Column("columns", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["calendar_id"], ["calendar.id"], name=op.f("fk_back_test_week_calendar_id_calendar")),
        sa.PrimaryKeyConstraint("monday", "calendar_id", name=op.f("pk_back_test_week")),
    )
    op.create_table(
        "pair_forecast",
        sa.Column("pair_id", sa.Integer(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("half_on", sa.Date(), nullable=False),
        sa.Column("likely_on", sa.Date(), nullable=False),
        sa.Column("nearly_on", sa.Date(), nullable=False),
        sa.Column("promised_on", sa.Date(), nullable=True),
        sa.Column("chance", sa.Integer(), nullable=True),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("costs", sa.String(), nullable=False),
        sa.Column("costs_minutes", sa.Integer(), nullable=False),
        sa.Column("standard", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["pair_id"], ["pair.id"], name=op.f("fk_pair_forecast_pair_id_pair")),
        sa.PrimaryKeyConstraint("pair_id", name=op.f("pk_pair_forecast")),
    )
    op.create_index(op.f("ix_pair_forecast_rank"), "pair_forecast", ["rank"], unique=False)


def downgrade() -> None:
    op.drop_index(op.f("ix_pair_forecast_rank"), table_name="pair_forecast")
    op.drop_table("pair_forecast")
    op.drop_table("back_test_week")
    op.drop_table("order_forecast")
    op.drop_table("forecast_made")
    op.drop_table("back_test")
