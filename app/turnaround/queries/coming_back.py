"""All of a page at once: what came back, what became of reviews, how wearers felt."""

from typing import NamedTuple

from sqlmodel import Session

from app.people import queries as people
from app.turnaround.queries import followed
from app.turnaround.queries.returns import returns
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.felt import Felt
from app.turnaround.rules.returns import Follow, Returns, Sample


class Seen(NamedTuple):
    returns: Returns
    follow: dict[int, Follow]
    """By clinic."""
    kept: list[Sample]
    """Reviews kept of those due, by month."""
    felt: list[Felt]


def seen(db: Session, asked: Asked, zone: str, until: int | None = None, *, shells: bool = True) -> Seen:
    """Of the period asked for; what is shown by month is of the twelve up to the month `until`, or to this one."""
    return Seen(
        returns(db, asked, zone, until, shells=shells),
        followed.follow(db, asked, zone),
        followed.kept(db, asked, zone, until),
        followed.felt(db, asked, zone),
    )


def clinic_names(db: Session) -> dict[int, str]:
    return {row.id: row.name for row in people.clinics(db)}
