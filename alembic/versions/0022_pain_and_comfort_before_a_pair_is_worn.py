"""Pain and comfort, told before a pair is worn for the first time

Revision ID: 0022
Revises: 0021
"""

import sqlalchemy as sa

from alembic import op

revision = "0022"
down_revision = "0021"


def upgrade() -> None:
    op.add_column("fit_check", sa.Column("pain", sa.Integer(), nullable=True))
    op.add_column("fit_check", sa.Column("comfort", sa.Integer(), nullable=True))


def downgrade() -> None:
    op.drop_column("fit_check", "comfort")
    op.drop_column("fit_check", "pain")
