"""What turnaround keeps beside the stays themselves: each month's worth of them as columns, read at once."""

from datetime import datetime

from sqlmodel import Field, SQLModel


class MonthColumns(SQLModel, table=True):
    """The stays that ended in a month, as app/turnaround/rules/columns.py writes them.

    All of a calendar's months together hold every stay up to the highest `upto_move` of them; later ones are read from
    `stay` itself, so that figures are right with and without these rows.
    """

    __tablename__ = "month_columns"

    calendar_id: int = Field(foreign_key="calendar.id", primary_key=True)
    month: int = Field(primary_key=True)
    """Of leaving, as 202611."""
    layout: int
    """Which columns and codes these are; those of another version of this program are made anew."""
    upto_move: int
    """The last move that was looked at when this was written."""
    stays: int
    made_at: datetime
    columns: bytes
    """Last, because SQLite reads through what stands before a column: megabytes, to learn when they were made."""
