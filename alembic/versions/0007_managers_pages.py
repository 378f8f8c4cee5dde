"""What managers look through: the journal by kind and by day, and each program's token

Revision ID: 0007
Revises: 0006
"""

import sqlalchemy as sa

from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    # Columns are added one by one, without a batch: no table is rebuilt.
    op.add_column("api_token", sa.Column("name", sa.String(), nullable=False, server_default=""))
    op.add_column("api_token", sa.Column("used_at", sa.DateTime(timezone=True), nullable=True))
    # "Who was refused?", any one kind, newest first.
    op.create_index("ix_entry_what_id", "entry", ["what", "id"])
    # The first and the last entry of some days.
    op.create_index("ix_entry_at", "entry", ["at"])
    # "What came for this order?", for the journal of one pair.
    op.create_index("ix_arrival_order_id", "arrival", ["order_id"])


def downgrade() -> None:
    op.drop_index("ix_arrival_order_id", table_name="arrival")
    op.drop_index("ix_entry_at", table_name="entry")
    op.drop_index("ix_entry_what_id", table_name="entry")
    op.drop_column("api_token", "used_at")
    op.drop_column("api_token", "name")
