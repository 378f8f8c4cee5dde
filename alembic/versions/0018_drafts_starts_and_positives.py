"""Drafts of orders, starting prescriptions, which order repeats which, and the act that made a positive

Revision ID: 0018
Revises: 0017
"""

import sqlalchemy as sa

from alembic import op

revision = "0018"
down_revision = "0017"


def upgrade() -> None:
    op.create_table(
        "order_draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=True),
        sa.Column("note_id", sa.Integer(), nullable=True),
        sa.Column("begun_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("kept_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["clinic_id"], ["clinic.id"], name=op.f("fk_order_draft_clinic_id_clinic")),
        sa.ForeignKeyConstraint(["note_id"], ["note.id"], name=op.f("fk_order_draft_note_id_note")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_order_draft_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_draft")),
        sa.UniqueConstraint("staff_id", "key", name=op.f("uq_order_draft_staff_id_key")),
    )
    # What the timetable throws away.
    op.create_index("ix_order_draft_kept_at", "order_draft", ["kept_at"])
    op.create_table(
        "starting_prescription",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("clinic_id", sa.Integer(), nullable=True),
        sa.Column("staff_id", sa.Integer(), nullable=True),
        sa.Column("way", sa.String(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["clinic_id"], ["clinic.id"], name=op.f("fk_starting_prescription_clinic_id_clinic")),
        sa.ForeignKeyConstraint(["made_by"], ["staff.id"], name=op.f("fk_starting_prescription_made_by_staff")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_starting_prescription_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_starting_prescription")),
    )
    op.create_index(op.f("ix_starting_prescription_clinic_id"), "starting_prescription", ["clinic_id"])
    op.create_index(op.f("ix_starting_prescription_staff_id"), "starting_prescription", ["staff_id"])
    with op.batch_alter_table("orders", schema=None) as batch_op:
        batch_op.add_column(sa.Column("repeats_id", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(op.f("fk_orders_repeats_id_orders"), "orders", ["repeats_id"], ["id"])
    op.add_column("positive", sa.Column("move_id", sa.Integer(), nullable=True))
    op.create_index(op.f("ix_positive_move_id"), "positive", ["move_id"])


def downgrade() -> None:
    op.drop_index(op.f("ix_positive_move_id"), table_name="positive")
    op.drop_column("positive", "move_id")
    with op.batch_alter_table("orders", schema=None) as batch_op:
        batch_op.drop_constraint(op.f("fk_orders_repeats_id_orders"), type_="foreignkey")
        batch_op.drop_column("repeats_id")
    op.drop_table("starting_prescription")
    # A draft's words are of no use without it, and nothing else would ever throw them away.
    op.execute("CREATE TEMPORARY TABLE draft_note AS SELECT note_id FROM order_draft WHERE note_id IS NOT NULL")
    op.drop_table("order_draft")
    op.execute("DELETE FROM note WHERE id IN (SELECT note_id FROM draft_note)")
    op.execute("DROP TABLE draft_note")
