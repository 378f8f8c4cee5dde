"""A payer's approval and the payment of an order, and which of them a clinic waits for

Revision ID: 0016
Revises: 0015
"""

import sqlalchemy as sa

from alembic import op

revision = "0016"
down_revision = "0015"


def upgrade() -> None:
    op.add_column("orders", sa.Column("dues", sa.JSON(), server_default="{}", nullable=False))
    op.add_column("clinic", sa.Column("waits_for", sa.JSON(), server_default="[]", nullable=False))
    # The defaults were for the rows that were there.
    if op.get_bind().dialect.name == "postgresql":
        op.alter_column("orders", "dues", server_default=None)
        op.alter_column("clinic", "waits_for", server_default=None)


def downgrade() -> None:
    op.drop_column("clinic", "waits_for")
    op.drop_column("orders", "dues")
