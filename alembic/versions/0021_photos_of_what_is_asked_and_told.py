"""Photos that go along with what lab and clinic ask and tell each other

Revision ID: 0021
Revises: 0020
"""

import sqlalchemy as sa

from alembic import op

revision = "0021"
down_revision = "0020"


def upgrade() -> None:
    op.create_table(
        "move_photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pair_id", sa.Integer(), nullable=False),
        sa.Column("move_id", sa.Integer(), nullable=False),
        sa.Column("file_key", sa.String(), nullable=False),
        sa.Column("small_key", sa.String(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["move_id"], ["move.id"], name=op.f("fk_move_photo_move_id_move")),
        sa.ForeignKeyConstraint(["pair_id"], ["pair.id"], name=op.f("fk_move_photo_pair_id_pair")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_move_photo")),
        sa.UniqueConstraint("file_key", name=op.f("uq_move_photo_file_key")),
        sa.UniqueConstraint("small_key", name=op.f("uq_move_photo_small_key")),
    )
    # The photos of a pair's thread in its order, and how many an open question has.
    op.create_index("ix_move_photo_pair_id_move_id", "move_photo", ["pair_id", "move_id"])


def downgrade() -> None:
    op.drop_table("move_photo")
