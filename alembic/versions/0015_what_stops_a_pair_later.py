"""What is open on a pair and stops it before a later stage

Revision ID: 0015
Revises: 0014
"""

import sqlalchemy as sa

from alembic import op

revision = "0015"
down_revision = "0014"
COUNTED = """
    UPDATE pair SET open_holds = (SELECT count(*) FROM hold WHERE hold.pair_id = pair.id AND hold.closed_by IS NULL)
    WHERE parked_on IS NOT NULL
"""


def upgrade() -> None:
    op.add_column("hold", sa.Column("before", sa.String(), nullable=True))
    op.add_column("pair", sa.Column("open_holds", sa.Integer(), server_default="0", nullable=False))
    op.execute(COUNTED)
    # The default was for the rows that were there.
    if op.get_bind().dialect.name == "postgresql":
        op.alter_column("pair", "open_holds", server_default=None)


def downgrade() -> None:
    op.drop_column("pair", "open_holds")
    op.drop_column("hold", "before")
