"""Tablets of the bench, badges and PINs, and sessions that are good at one tablet alone

Revision ID: 0014
Revises: 0013
"""

import sqlalchemy as sa

from alembic import op

revision = "0014"
down_revision = "0013"

_WORKS = sa.text("void_at IS NULL")
_SIGNED_ON = sa.text("station_id IS NOT NULL AND ended_at IS NULL")


def upgrade() -> None:
    op.create_table(
        "station",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("enrolled_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("enrolled_by", sa.Integer(), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["enrolled_by"], ["staff.id"], name=op.f("fk_station_enrolled_by_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_station")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_station_token_hash")),
    )
    op.create_table(
        "badge",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("secret_hash", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("void_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_badge_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_badge")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_badge_secret_hash")),
    )
    # A person has one badge that works.
    op.create_index("ix_badge_open", "badge", ["staff_id"], unique=True, sqlite_where=_WORKS, postgresql_where=_WORKS)
    op.add_column("staff", sa.Column("pin", sa.String(), nullable=True))
    with op.batch_alter_table("signed_in", schema=None) as batch_op:
        batch_op.add_column(sa.Column("station_id", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(op.f("fk_signed_in_station_id_station"), "station", ["station_id"], ["id"])
        # "Who is signed on at this tablet?", to end all of it at once.
        batch_op.create_index(
            "ix_signed_in_station_open", ["station_id"], sqlite_where=_SIGNED_ON, postgresql_where=_SIGNED_ON
        )


def downgrade() -> None:
    # Without the column a sign-on at a tablet would be good everywhere.
    op.execute("DELETE FROM signed_in WHERE station_id IS NOT NULL")
    with op.batch_alter_table("signed_in", schema=None) as batch_op:
        batch_op.drop_index("ix_signed_in_station_open", sqlite_where=_SIGNED_ON, postgresql_where=_SIGNED_ON)
        batch_op.drop_constraint(op.f("fk_signed_in_station_id_station"), type_="foreignkey")
        batch_op.drop_column("station_id")
    op.drop_column("staff", "pin")
    op.drop_index("ix_badge_open", table_name="badge", sqlite_where=_WORKS, postgresql_where=_WORKS)
    op.drop_table("badge")
    op.drop_table("station")
