"""What the checks of a prescription found and what a person answered

Revision ID: 0010
Revises: 0009
"""

import sqlalchemy as sa

from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    op.add_column("prescription", sa.Column("checks", sa.JSON(), server_default="[]", nullable=False))
    # The default was for the rows that were there.
    if op.get_bind().dialect.name == "postgresql":
        op.alter_column("prescription", "checks", server_default=None)


def downgrade() -> None:
    op.drop_column("prescription", "checks")
