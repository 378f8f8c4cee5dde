"""What becomes of belongings and how they travel, setting left out of counts, who begins work, a shoe that comes back

Revision ID: 0008
Revises: 0007
"""

import sqlalchemy as sa

from alembic import op

revision = "0008"
down_revision = "0007"

_OPEN = sa.text("stage IS NOT NULL")
_UNSETTLED = sa.text("settled_at IS NULL")
QUEUES = {
    "ix_pair_queue": ["stage", "due_on", "since", "id"],
    "ix_pair_clinic_queue": ["clinic_id", "stage", "due_on", "since", "id"],
}


def upgrade() -> None:
    op.create_table(
        "parcel_belonging",
        sa.Column("parcel_id", sa.Integer(), nullable=False),
        sa.Column("belonging_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["belonging_id"], ["belonging.id"], name=op.f("fk_parcel_belonging_belonging_id_belonging")
        ),
        sa.ForeignKeyConstraint(["parcel_id"], ["parcel.id"], name=op.f("fk_parcel_belonging_parcel_id_parcel")),
        sa.PrimaryKeyConstraint("parcel_id", "belonging_id", name=op.f("pk_parcel_belonging")),
    )
    # "What became of this on its ways?", on its pair's page.
    op.create_index(op.f("ix_parcel_belonging_belonging_id"), "parcel_belonging", ["belonging_id"])
    with op.batch_alter_table("belonging", schema=None) as batch_op:
        batch_op.add_column(sa.Column("settled_by", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("shelf", sa.String(), nullable=True))
        batch_op.create_foreign_key(op.f("fk_belonging_settled_by_staff"), "staff", ["settled_by"], ["id"])
        # "What of an ended pair is not accounted for?", and what a parcel or the wearer can take along.
        batch_op.create_index("ix_belonging_open", ["pair_id"], sqlite_where=_UNSETTLED, postgresql_where=_UNSETTLED)
    op.add_column("fit_check", sa.Column("shoe_before", sa.JSON(), nullable=True))
    op.add_column("lab", sa.Column("marks_start", sa.Boolean(), nullable=False, server_default=sa.false()))
    # Counted without what is still setting, from the index alone.
    for name, columns in QUEUES.items():
        op.drop_index(name, table_name="pair", sqlite_where=_OPEN, postgresql_where=_OPEN)
        op.create_index(name, "pair", [*columns, "not_before"], sqlite_where=_OPEN, postgresql_where=_OPEN)
    # Wearing in is worked by the day of the review from now on: its appointment's, or the day it is due.
    op.execute(
        "UPDATE pair SET due_on = (SELECT COALESCE(date(appointment), due_on) FROM review "
        "WHERE review.pair_id = pair.id AND state = 'open' ORDER BY number DESC LIMIT 1) "
        "WHERE stage = 'wear_in' AND EXISTS (SELECT 1 FROM review WHERE review.pair_id = pair.id AND state = 'open')"
    )


def downgrade() -> None:
    for name, columns in QUEUES.items():
        op.drop_index(name, table_name="pair", sqlite_where=_OPEN, postgresql_where=_OPEN)
        op.create_index(name, "pair", columns, sqlite_where=_OPEN, postgresql_where=_OPEN)
    op.drop_column("lab", "marks_start")
    op.drop_column("fit_check", "shoe_before")
    with op.batch_alter_table("belonging", schema=None) as batch_op:
        batch_op.drop_index("ix_belonging_open", sqlite_where=_UNSETTLED, postgresql_where=_UNSETTLED)
        batch_op.drop_constraint(op.f("fk_belonging_settled_by_staff"), type_="foreignkey")
        batch_op.drop_column("shelf")
        batch_op.drop_column("settled_by")
    op.drop_index(op.f("ix_parcel_belonging_belonging_id"), table_name="parcel_belonging")
    op.drop_table("parcel_belonging")
