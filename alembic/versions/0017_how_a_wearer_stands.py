"""How a wearer stands: measures of each foot, and photos from behind

Revision ID: 0017
Revises: 0016
"""

import sqlalchemy as sa

from alembic import op

revision = "0017"
down_revision = "0016"


def upgrade() -> None:
    op.create_table(
        "stance_photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pair_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("with_devices", sa.Boolean(), nullable=False),
        sa.Column("file_key", sa.String(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("uploaded_by", sa.Integer(), nullable=False),
        sa.Column("uploaded_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["pair_id"], ["pair.id"], name=op.f("fk_stance_photo_pair_id_pair")),
        sa.ForeignKeyConstraint(["uploaded_by"], ["staff.id"], name=op.f("fk_stance_photo_uploaded_by_staff")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_stance_photo_visit_id_visit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stance_photo")),
        sa.UniqueConstraint("file_key", name=op.f("uq_stance_photo_file_key")),
    )
    # The photos of a pair, on its page of stance.
    op.create_index(op.f("ix_stance_photo_pair_id"), "stance_photo", ["pair_id"])
    op.create_table(
        "foot_measure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pair_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("side", sa.String(), nullable=False),
        sa.Column("with_devices", sa.Boolean(), nullable=False),
        sa.Column("found", sa.JSON(), nullable=False),
        sa.Column("photo_id", sa.Integer(), nullable=True),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["pair_id"], ["pair.id"], name=op.f("fk_foot_measure_pair_id_pair")),
        sa.ForeignKeyConstraint(["photo_id"], ["stance_photo.id"], name=op.f("fk_foot_measure_photo_id_stance_photo")),
        sa.ForeignKeyConstraint(
            ["replaces_id"], ["foot_measure.id"], name=op.f("fk_foot_measure_replaces_id_foot_measure")
        ),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_foot_measure_staff_id_staff")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_foot_measure_visit_id_visit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_foot_measure")),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_foot_measure_replaces_id")),
    )
    # "How did this wearer stand?" on the pair's pages.
    op.create_index(op.f("ix_foot_measure_pair_id"), "foot_measure", ["pair_id"])


def downgrade() -> None:
    op.drop_table("foot_measure")
    op.drop_table("stance_photo")
