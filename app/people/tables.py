"""The lab and its settings, its clinics, its staff, and what lets them in."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel


class Lab(SQLModel, table=True):
    """One installation serves one lab: this table holds one row, id 1."""

    id: int = Field(default=1, primary_key=True)
    name: str
    address: str = ""
    phone: str = ""
    zone: str = "UTC"
    stages_on: list[str] = Field(default_factory=list, sa_type=JSON)
    """The optional stages this lab works with: prepare, correct, grind, inspect."""
    limits: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    """What the lab changed of the default limits (app/watch/rules/settings.py names them)."""
    calendar_id: int | None = Field(default=None, foreign_key="calendar.id")
    """The working calendar in force: promises and reviews go by it from the moment it is saved."""
    counted_in: int | None = Field(default=None, foreign_key="calendar.id")
    """The calendar that figures are shown in while their times are counted anew for the one in force; else empty.

    It is the one pointer that ends a recount: emptied, every figure is of the new hours.
    """
    demo: bool = False
    marks_start: bool = False
    """Whether it is recorded who begins work on a pair and puts it down; off unless the lab wants it."""
    last_allowance: int = 150
    """By how much a last is taken to be longer than the foot, in tenths of a millimetre, where sizes are compared."""


class Calendar(SQLModel, table=True):
    """Working hours and days off; never changed once used: a new one is made, so that old figures keep their own."""

    id: int = Field(default=None, primary_key=True)
    hours: list[list[list[str]]] = Field(sa_type=JSON)
    """Seven weekdays, Monday first, each a list of ["08:00", "17:00"] spans in the lab's zone."""
    country: str = ""
    region: str = ""
    closures: list[str] = Field(default_factory=list, sa_type=JSON)
    """Days the lab is closed beside public holidays, as ISO dates."""
    zone: str = ""
    """The zone that the hours are of; empty where it is the lab's own, as in calendars of before it stood here."""
    made_at: datetime


class Recount(SQLModel, table=True):
    """That times are being counted anew in a changed calendar; gone when all of them are."""

    calendar_id: int = Field(foreign_key="calendar.id", primary_key=True)
    asked_at: datetime
    upto: int = 0
    """The number of the last pair whose times are counted."""
    last: int | None = None
    """The number of the last pair there was when it began: whose moves came later has its times in both calendars."""


class Clinic(SQLModel, table=True):
    id: int = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    address: str = ""
    phone: str = ""
    by_parcel: bool = False
    """Pairs go out and come back in parcels; otherwise the clinic is in the lab's house."""
    trims: bool = False
    """The clinic trims to the shoe itself; otherwise the lab does."""
    units: str = "metric"
    """In which lengths and mass are typed and shown to its people; kept they are as everywhere."""
    transit_days: int = 1
    waits_for: list[str] = Field(default_factory=list, sa_type=JSON)
    """What dispensing waits for: approval, payment; nothing, unless the clinic wants it."""
    wearer_pages: bool = False
    """Its clinicians may give a wearer a page of the own, without signing in."""


class Staff(SQLModel, table=True):
    id: int = Field(default=None, primary_key=True)
    email: str = Field(unique=True)
    """Lower case; what a person signs in with."""
    name: str
    password: str | None = None
    """An argon2 hash; empty until the invitation is used."""
    pin: str | None = None
    """An argon2 hash, as the password's; what a person signs on with at a tablet of the bench, beside the badge."""
    roles: list[str] = Field(default_factory=list, sa_type=JSON)
    joined_at: datetime
    ended_at: datetime | None = None


class StaffClinic(SQLModel, table=True):
    """Which clinics a person belongs to."""

    __tablename__ = "staff_clinic"

    staff_id: int = Field(foreign_key="staff.id", primary_key=True)
    clinic_id: int = Field(foreign_key="clinic.id", primary_key=True, index=True)


class Station(SQLModel, table=True):
    """A tablet of the bench at which people sign on. Only its secret's hash is stored."""

    id: int = Field(default=None, primary_key=True)
    name: str
    token_hash: str = Field(unique=True)
    enrolled_at: datetime
    enrolled_by: int = Field(foreign_key="staff.id")
    used_at: datetime | None = None
    """When somebody last signed on; pages show the day."""
    ended_at: datetime | None = None


class Badge(SQLModel, table=True):
    """What a person signs on with at a tablet, beside the PIN; shown once, stored hashed."""

    __table_args__ = (
        # A person has one badge that works.
        Index(
            "ix_badge_open",
            "staff_id",
            unique=True,
            sqlite_where=text("void_at IS NULL"),
            postgresql_where=text("void_at IS NULL"),
        ),
    )

    id: int = Field(default=None, primary_key=True)
    staff_id: int = Field(foreign_key="staff.id")
    secret_hash: str = Field(unique=True)
    made_at: datetime
    void_at: datetime | None = None


class ToldOf(SQLModel, table=True):
    """What a person chose to be told of by mail, or not to be; without a row it is as is usual (SUBJECTS in rules)."""

    __tablename__ = "told_of"

    staff_id: int = Field(foreign_key="staff.id", primary_key=True)
    subject: str = Field(primary_key=True)
    wanted: bool
    since: datetime
    hour: int | None = None
    """Of the digest: the hour of the day in the lab's zone from which it is sent."""


class CalendarFeed(SQLModel, table=True):
    """The secret address of a person's calendar; one works at a time. Shown once, stored hashed."""

    __tablename__ = "calendar_feed"

    staff_id: int = Field(foreign_key="staff.id", primary_key=True)
    secret_hash: str = Field(unique=True)
    made_at: datetime


class SignedIn(SQLModel, table=True):
    """A browser's session. Only the token's hash is stored, so a copied database signs nobody in."""

    __tablename__ = "signed_in"
    __table_args__ = (
        # "Who is signed in as this person?", to end all of it at once.
        Index(
            "ix_signed_in_staff_open",
            "staff_id",
            sqlite_where=text("ended_at IS NULL"),
            postgresql_where=text("ended_at IS NULL"),
        ),
        # "Who is signed on at this tablet?", for the same.
        Index(
            "ix_signed_in_station_open",
            "station_id",
            sqlite_where=text("station_id IS NOT NULL AND ended_at IS NULL"),
            postgresql_where=text("station_id IS NOT NULL AND ended_at IS NULL"),
        ),
    )

    token_hash: str = Field(primary_key=True)
    staff_id: int = Field(foreign_key="staff.id")
    station_id: int | None = Field(default=None, foreign_key="station.id")
    """The tablet, if it is a sign-on there: then it is good for the bench's pages alone."""
    started_at: datetime
    seen_at: datetime
    ended_at: datetime | None = None
    browser: str = ""


class ApiToken(SQLModel, table=True):
    """A key for programs, acting as one person; shown once, stored hashed."""

    __tablename__ = "api_token"

    token_hash: str = Field(primary_key=True)
    staff_id: int = Field(foreign_key="staff.id", index=True)
    name: str = ""
    """What it is for, as whoever made it said."""
    made_at: datetime
    used_at: datetime | None = None
    """To the day: it is written once a day at most."""
    ended_at: datetime | None = None


class Link(SQLModel, table=True):
    """A single-use link: the first manager's set-up, or an invitation. The hash of its secret is the key."""

    token_hash: str = Field(primary_key=True)
    purpose: str
    email: str = ""
    name: str = ""
    roles: list[str] = Field(default_factory=list, sa_type=JSON)
    clinics: list[int] = Field(default_factory=list, sa_type=JSON)
    made_by: int | None = Field(default=None, foreign_key="staff.id")
    made_at: datetime
    ends_at: datetime
    used_at: datetime | None = None


class FailedSignIn(SQLModel, table=True):
    """Counts wrong passwords per name and per address, a row a window; what slows guessing must hold in every process.

    Wrong PINs are counted per badge and per tablet, a row a try: the lock that they cause begins with the last of them.
    """

    __tablename__ = "failed_sign_in"
    __table_args__ = (UniqueConstraint("key", "window_start"),)

    id: int = Field(default=None, primary_key=True)
    key: str
    window_start: datetime
    tries: int = 0
