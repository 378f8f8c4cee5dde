"""What came back, and what was dispensed and reviewed, found by time

Revision ID: 0025
Revises: 0024
"""

import sqlalchemy as sa

from alembic import op

revision = "0025"
down_revision = "0024"


def upgrade() -> None:
    comes_back = sa.text("act IN ('adjust', 'dispense', 'no_show', 'remake', 'send_back', 'take_back')")
    op.create_index(
        "ix_move_comes_back",
        "move",
        ["act", "done_at", "visit_id", "pair_id"],
        sqlite_where=comes_back,
        postgresql_where=comes_back,
    )
    op.create_index("ix_review_due_on", "review", ["due_on", "state", "outcome", "pair_id"])
    op.create_index("ix_review_held_at", "review", ["held_at", "outcome", "pair_id"])


def downgrade() -> None:
    op.drop_index("ix_review_held_at", table_name="review")
    op.drop_index("ix_review_due_on", table_name="review")
    op.drop_index("ix_move_comes_back", table_name="move")
