"""Which lot of a material is in use, and the sheets in stock that an oven load was laid out on

Revision ID: 0013
Revises: 0012
"""

import sqlalchemy as sa

from alembic import op

revision = "0013"
down_revision = "0012"

_IN_USE = sa.text("in_use_since IS NOT NULL")


def upgrade() -> None:
    op.add_column("lot", sa.Column("in_use_since", sa.DateTime(timezone=True), nullable=True))
    # One lot of a material is in use at most; and which are, for every row of a bench's queue.
    op.create_index(
        "ix_lot_in_use", "lot", ["material_id"], unique=True, sqlite_where=_IN_USE, postgresql_where=_IN_USE
    )
    op.add_column("printed_sheet", sa.Column("stock", sa.JSON(), nullable=True))


def downgrade() -> None:
    op.drop_column("printed_sheet", "stock")
    op.drop_index("ix_lot_in_use", table_name="lot", sqlite_where=_IN_USE, postgresql_where=_IN_USE)
    op.drop_column("lot", "in_use_since")
