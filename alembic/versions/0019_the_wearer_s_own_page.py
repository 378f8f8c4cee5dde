"""A page of the wearer's own with a note a day, and wearing-in plans of a clinic's own

Revision ID: 0019
Revises: 0018
"""

import sqlalchemy as sa

from alembic import op

revision = "0019"
down_revision = "0018"

_FLAGGED = sa.text("flagged_at IS NOT NULL AND cleared_at IS NULL")
_WORKS = sa.text("ended_at IS NULL")


def upgrade() -> None:
    op.add_column("clinic", sa.Column("wearer_pages", sa.Boolean(), server_default=sa.false(), nullable=False))
    op.create_table(
        "wearer_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pair_id", sa.Integer(), nullable=False),
        sa.Column("review_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["pair_id"], ["pair.id"], name=op.f("fk_wearer_link_pair_id_pair")),
        sa.ForeignKeyConstraint(["review_id"], ["review.id"], name=op.f("fk_wearer_link_review_id_review")),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name=op.f("fk_wearer_link_made_by_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wearer_link")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_wearer_link_token_hash")),
    )
    # A pair has one link that works.
    op.create_index(
        "ix_wearer_link_open", "wearer_link", ["pair_id"], unique=True, sqlite_where=_WORKS, postgresql_where=_WORKS
    )
    op.create_table(
        "wearer_note",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pair_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=True),
        sa.Column("comfort", sa.Integer(), nullable=True),
        sa.Column("skin", sa.String(), nullable=True),
        sa.Column("noted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("flagged_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("cleared_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("cleared_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["pair_id"], ["pair.id"], name=op.f("fk_wearer_note_pair_id_pair")),
        sa.ForeignKeyConstraint(["cleared_by"], ["staff.id"], name=op.f("fk_wearer_note_cleared_by_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wearer_note")),
        sa.UniqueConstraint("pair_id", "day", name=op.f("uq_wearer_note_pair_id_day")),
    )
    # "Which wearers noted a red flag that nobody has cleared?" on every clinician's desk.
    op.create_index(
        "ix_wearer_note_flagged", "wearer_note", ["pair_id"], sqlite_where=_FLAGGED, postgresql_where=_FLAGGED
    )
    op.create_table(
        "clinic_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("start_minutes", sa.Integer(), nullable=False),
        sa.Column("step_minutes", sa.Integer(), nullable=False),
        sa.Column("target_minutes", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["clinic_id"], ["clinic.id"], name=op.f("fk_clinic_plan_clinic_id_clinic")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clinic_plan")),
    )
    # The plans that a clinic offers, by name.
    op.create_index(
        "ix_clinic_plan_open",
        "clinic_plan",
        ["clinic_id", "name"],
        unique=True,
        sqlite_where=_WORKS,
        postgresql_where=_WORKS,
    )


def downgrade() -> None:
    op.drop_index("ix_clinic_plan_open", table_name="clinic_plan", sqlite_where=_WORKS, postgresql_where=_WORKS)
    op.drop_table("clinic_plan")
    op.drop_index("ix_wearer_note_flagged", table_name="wearer_note", sqlite_where=_FLAGGED, postgresql_where=_FLAGGED)
    op.drop_table("wearer_note")
    op.drop_index("ix_wearer_link_open", table_name="wearer_link", sqlite_where=_WORKS, postgresql_where=_WORKS)
    op.drop_table("wearer_link")
    with op.batch_alter_table("clinic", schema=None) as batch_op:
        batch_op.drop_column("wearer_pages")
