"""The measured feet of an order, the day of a capture, and by how much the lab takes a last to be longer than the foot

Revision ID: 0012
Revises: 0011
"""

import sqlalchemy as sa

from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    op.add_column("orders", sa.Column("feet", sa.JSON(), server_default="{}", nullable=False))
    op.add_column("lab", sa.Column("last_allowance", sa.Integer(), server_default="150", nullable=False))
    op.add_column("capture", sa.Column("captured_on", sa.Date(), nullable=True))
    # The defaults were for the rows that were there.
    if op.get_bind().dialect.name == "postgresql":
        op.alter_column("orders", "feet", server_default=None)
        op.alter_column("lab", "last_allowance", server_default=None)


def downgrade() -> None:
    op.drop_column("capture", "captured_on")
    op.drop_column("lab", "last_allowance")
    op.drop_column("orders", "feet")
