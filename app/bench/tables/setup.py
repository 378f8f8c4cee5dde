"""What the lab set for its bench, and the sheets that were printed by it."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON
from sqlmodel import Field, SQLModel


class BenchSetup(SQLModel, table=True):
    """What the lab set for its bench: one row, id 1, or none while every default holds."""

    __tablename__ = "bench_setup"

    id: int = Field(default=1, primary_key=True)
    settings: dict[str, Any] = Field(sa_type=JSON)
    """By name; app/bench/rules/settings.py knows the names, their units and what holds for those that are not here."""


class PrintedSheet(SQLModel, table=True):
    """A pour sheet or an oven load as it was printed: whatever changes later, it is drawn again as it was."""

    __tablename__ = "printed_sheet"

    id: int = Field(default=None, primary_key=True)
    kind: str
    """pour or oven."""
    codes: list[str] = Field(sa_type=JSON)
    settings: dict[str, Any] = Field(sa_type=JSON)
    """All of the bench's settings that it was worked out by, as in `BenchSetup`."""
    given: list[dict[str, Any]] = Field(sa_type=JSON)
    """What is known of each side: the fields of app.bench.rules.sheets.Given."""
    stock: list[dict[str, Any]] | None = Field(default=None, sa_type=JSON)
    """The sheets that blanks were laid out on: the fields of app.bench.rules.cutting.StockSheet.

    None of one that was printed when the settings had a list of their own; it stands in `settings` then.
    """
    printed_at: datetime
    printed_by: int = Field(foreign_key="staff.id")
