"""What people chose to be told of, the letters that came of it, and calendars at secret addresses

Revision ID: 0020
Revises: 0019
"""

import sqlalchemy as sa

from alembic import op

revision = "0020"
down_revision = "0019"


def upgrade() -> None:
    op.create_table(
        "told_of",
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("wanted", sa.Boolean(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("hour", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_told_of_staff_id_staff")),
        sa.PrimaryKeyConstraint("staff_id", "subject", name=op.f("pk_told_of")),
    )
    op.create_table(
        "calendar_feed",
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("secret_hash", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_calendar_feed_staff_id_staff")),
        sa.PrimaryKeyConstraint("staff_id", name=op.f("pk_calendar_feed")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_calendar_feed_secret_hash")),
    )
    op.create_table(
        "letter",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("about", sa.String(), nullable=False),
        sa.Column("pair_id", sa.Integer(), nullable=True),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["pair_id"], ["pair.id"], name=op.f("fk_letter_pair_id_pair")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_letter_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_letter")),
        sa.UniqueConstraint("staff_id", "subject", "about", name=op.f("uq_letter_staff_id_subject_about")),
    )
    op.create_index("ix_letter_made_at", "letter", ["made_at"])


def downgrade() -> None:
    op.drop_index("ix_letter_made_at", table_name="letter")
    op.drop_table("letter")
    op.drop_table("calendar_feed")
    op.drop_table("told_of")
