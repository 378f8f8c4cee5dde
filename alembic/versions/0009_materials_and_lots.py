"""Materials and their lots, on which sides a lot was used, lots that are held, and flags about a lot

Revision ID: 0009
Revises: 0008
"""

import sqlalchemy as sa

from alembic import op

revision = "0009"
down_revision = "0008"

_IN_STOCK = sa.text("stock > 0")
_NOT_LIFTED = sa.text("lifted_at IS NULL")
ABOUT_ONE = {
    name: " + ".join(f"(CASE WHEN {column} IS NULL THEN 0 ELSE 1 END)" for column in columns) + " = 1"
    for name, columns in (("now", ("pair_id", "arrival_id", "lot_id")), ("before", ("pair_id", "arrival_id")))
}


def upgrade() -> None:
    op.create_table(
        "material",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("material", sa.String(), nullable=True),
        sa.Column("thickness", sa.Integer(), nullable=True),
        sa.Column("width_mm", sa.Integer(), nullable=True),
        sa.Column("length_mm", sa.Integer(), nullable=True),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("per_side", sa.Integer(), nullable=False),
        sa.Column("low", sa.Integer(), nullable=False),
        sa.Column("low_since", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_material")),
    )
    op.create_table(
        "lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("number_key", sa.String(), nullable=False),
        sa.Column("received_on", sa.Date(), nullable=False),
        sa.Column("expires_on", sa.Date(), nullable=True),
        sa.Column("stock", sa.Integer(), nullable=False),
        sa.Column("held", sa.Boolean(), nullable=False),
        sa.Column("last_used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["material_id"], ["material.id"], name=op.f("fk_lot_material_id_material")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot")),
        sa.UniqueConstraint("material_id", "number_key", name=op.f("uq_lot_material_id_number_key")),
    )
    # "Which lot is this?", by the beginning of its number.
    op.create_index("ix_lot_number_key", "lot", ["number_key"])
    # What has something left: the stock, what can be picked at a bench, what has expired.
    op.create_index("ix_lot_in_stock", "lot", ["material_id"], sqlite_where=_IN_STOCK, postgresql_where=_IN_STOCK)
    op.create_table(
        "lot_use",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("pair_id", sa.Integer(), nullable=False),
        sa.Column("side", sa.String(), nullable=False),
        sa.Column("stage", sa.String(), nullable=False),
        sa.Column("move_id", sa.Integer(), nullable=False),
        sa.Column("amount", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("scrapped_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("scrapped_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_lot_use_lot_id_lot")),
        sa.ForeignKeyConstraint(["move_id"], ["move.id"], name=op.f("fk_lot_use_move_id_move")),
        sa.ForeignKeyConstraint(["pair_id"], ["pair.id"], name=op.f("fk_lot_use_pair_id_pair")),
        sa.ForeignKeyConstraint(["scrapped_by"], ["move.id"], name=op.f("fk_lot_use_scrapped_by_move")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_lot_use_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_use")),
    )
    # "Which pairs is this lot in?", newest first.
    op.create_index("ix_lot_use_lot_id_pair_id", "lot_use", ["lot_id", "pair_id"])
    # The lots of a pair, on its page and when a side is made again.
    op.create_index(op.f("ix_lot_use_pair_id"), "lot_use", ["pair_id"])
    op.create_table(
        "lot_hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("held_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("held_by", sa.Integer(), nullable=False),
        sa.Column("note_id", sa.Integer(), nullable=False),
        sa.Column("lifted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("lifted_by", sa.Integer(), nullable=True),
        sa.Column("lifted_note_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["held_by"], ["staff.id"], name=op.f("fk_lot_hold_held_by_staff")),
        sa.ForeignKeyConstraint(["lifted_by"], ["staff.id"], name=op.f("fk_lot_hold_lifted_by_staff")),
        sa.ForeignKeyConstraint(["lifted_note_id"], ["note.id"], name=op.f("fk_lot_hold_lifted_note_id_note")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_lot_hold_lot_id_lot")),
        sa.ForeignKeyConstraint(["note_id"], ["note.id"], name=op.f("fk_lot_hold_note_id_note")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_hold")),
    )
    # A lot is held once at a time; and "what is held now?"
    op.create_index(
        "ix_lot_hold_open",
        "lot_hold",
        ["lot_id"],
        unique=True,
        sqlite_where=_NOT_LIFTED,
        postgresql_where=_NOT_LIFTED,
    )
    # All holds of a lot, on its page.
    op.create_index("ix_lot_hold_lot_id", "lot_hold", ["lot_id"])
    op.create_table(
        "lot_notice",
        sa.Column("hold_id", sa.Integer(), nullable=False),
        sa.Column("pair_id", sa.Integer(), nullable=False),
        sa.Column("parked_by", sa.Integer(), nullable=True),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("told_by", sa.Integer(), nullable=True),
        sa.Column("returned_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("returned_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["hold_id"], ["lot_hold.id"], name=op.f("fk_lot_notice_hold_id_lot_hold")),
        sa.ForeignKeyConstraint(["pair_id"], ["pair.id"], name=op.f("fk_lot_notice_pair_id_pair")),
        sa.ForeignKeyConstraint(["parked_by"], ["move.id"], name=op.f("fk_lot_notice_parked_by_move")),
        sa.ForeignKeyConstraint(["returned_by"], ["staff.id"], name=op.f("fk_lot_notice_returned_by_staff")),
        sa.ForeignKeyConstraint(["told_by"], ["staff.id"], name=op.f("fk_lot_notice_told_by_staff")),
        sa.PrimaryKeyConstraint("hold_id", "pair_id", name=op.f("pk_lot_notice")),
    )
    # "Is a held lot in it?", on a pair's page.
    op.create_index(op.f("ix_lot_notice_pair_id"), "lot_notice", ["pair_id"])
    with op.batch_alter_table("flag_note", schema=None) as batch_op:
        batch_op.add_column(sa.Column("lot_id", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(op.f("fk_flag_note_lot_id_lot"), "lot", ["lot_id"], ["id"])
        batch_op.create_unique_constraint(op.f("uq_flag_note_lot_id_kind"), ["lot_id", "kind"])
        batch_op.drop_constraint(op.f("ck_flag_note_about_one_thing"), type_="check")
        batch_op.create_check_constraint(op.f("ck_flag_note_about_one_thing"), sa.text(ABOUT_ONE["now"]))


def downgrade() -> None:
    op.execute("DELETE FROM flag_note WHERE lot_id IS NOT NULL")
    with op.batch_alter_table("flag_note", schema=None) as batch_op:
        batch_op.drop_constraint(op.f("ck_flag_note_about_one_thing"), type_="check")
        batch_op.drop_constraint(op.f("uq_flag_note_lot_id_kind"), type_="unique")
        batch_op.drop_constraint(op.f("fk_flag_note_lot_id_lot"), type_="foreignkey")
        batch_op.drop_column("lot_id")
        batch_op.create_check_constraint(op.f("ck_flag_note_about_one_thing"), sa.text(ABOUT_ONE["before"]))
    for table in ("lot_notice", "lot_hold", "lot_use", "lot", "material"):
        op.drop_table(table)
