"""From what happened to letters: who is told is decided here, when the change is safe, and not where it is made."""

import secrets
from collections.abc import Collection, Iterable, Sequence
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import and_, delete, literal
from sqlalchemy.dialects.postgresql import insert as insert_on_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_on_sqlite
from sqlmodel import Session, col, select

from app import clock, outbox
from app.database import Database
from app.exchange.queries import telling
from app.exchange.queries.telling import News
from app.exchange.rules import FLAGS
from app.exchange.tables import Letter
from app.people import queries as people
from app.people.queries import told
from app.people.queries.told import Told
from app.people.rules import DIGEST_HOUR

MAIL = "mail"
KEPT = timedelta(days=400)
"""Longer than anything stands that a letter was about: thrown away earlier, it would be mailed again."""
AT_ONCE = 50
"""Letters in one transaction."""
LATE_HOURS = 4
"""By so much a digest may be late, where the server was away in the morning; then it is none any more."""
REPORT_DAYS = 7
"""Of a month in which the one before is still reported."""
letter_t = Letter.metadata.tables["letter"]


def tell_ready(database: Database, facts: dict[str, Any]) -> None:
    with database.writing() as db:
        for news in telling.ready(db, facts["pair"]):
            _tell(db, news)


def tell_question(database: Database, facts: dict[str, Any]) -> None:
    """Whoever asked knows."""
    with database.writing() as db:
        for news in telling.questions(db, facts["pair"]):
            if news.occasion == str(facts["hold"]):
                _tell(db, news, but=facts["by"])


def _tell(db: Session, news: News, but: int | None = None) -> None:
    for each in told.to_tell(db, news.subject):
        if each.staff_id != but and each.of(news.subject, news.clinic_id):
            write(db, each.staff_id, news.subject, news.about, pair_id=news.pair_id)


def look_at_flags(database: Database, _facts: dict[str, Any]) -> None:
    """Reads first and writes what is new alone, in short transactions: a look goes over every open pair."""
    with database.reading() as db:
        news = list(telling.flagged(db))
        new = [letter for subject in FLAGS for letter in _new(db, subject, [n for n in news if n.subject == subject])]
    _write_all(database, new)


def _write_all(database: Database, letters: Sequence[dict[str, Any]]) -> None:
    for start in range(0, len(letters), AT_ONCE):
        with database.writing() as db:
            for letter in letters[start : start + AT_ONCE]:
                write(db, **letter)


def _new(db: Session, subject: str, news: Collection[News]) -> Iterable[dict[str, Any]]:
    """The letters that these flags want and that nobody has yet.

    At the first look after somebody has chosen to be told of late pairs, what is late already is no news: these
    letters are void from the beginning, and so is the one that notes that this look has been.
    """
    known = telling.known(db, subject)
    for each in told.to_tell(db, subject):
        begins = f"since {telling.instant(each.since)}" if subject == "late" and each.since else ""
        first = bool(begins) and (each.staff_id, begins) not in known
        if first:
            yield {"staff_id": each.staff_id, "subject": subject, "about": begins, "void": True}
        for one in news:
            if each.of(subject, one.clinic_id) and (each.staff_id, one.about) not in known:
                about = {"subject": subject, "about": one.about, "pair_id": one.pair_id}
                yield {"staff_id": each.staff_id, "void": first, **about}


def tell_mornings(database: Database, _facts: dict[str, Any]) -> None:
    """A digest for whom its hour has come on a working day; whether there is anything in it is seen when it is sent."""
    with database.reading() as db:
        day = clock.today(people.lab(db).zone)
        if not people.work_calendar(db).is_working_day(day):
            return
        hour = clock.now().astimezone(ZoneInfo(people.lab(db).zone)).hour
        known = telling.known(db, "digest")
        due = [each for each in told.to_tell(db, "digest") if _is_due(each, hour)]
        new = [each.staff_id for each in due if (each.staff_id, day.isoformat()) not in known]
    about = {"subject": "digest", "about": day.isoformat()}
    _write_all(database, [{"staff_id": staff_id, **about} for staff_id in new])


def tell_month(database: Database, _facts: dict[str, Any]) -> None:
    """The report of the month that is over, from the morning of the first on; a server that was away sends it later.

    What happened is read when it is sent; a month in which nothing did is not told.
    """
    with database.reading() as db:
        now = clock.now().astimezone(ZoneInfo(people.lab(db).zone))
        if now.day > REPORT_DAYS or (now.day, now.hour) < (1, DIGEST_HOUR):
            return
        month = f"{now.date().replace(day=1) - timedelta(days=1):%Y-%m}"
        known = telling.known(db, "report")
        new = [each.staff_id for each in told.to_tell(db, "report") if (each.staff_id, month) not in known]
    _write_all(database, [{"staff_id": staff_id, "subject": "report", "about": month} for staff_id in new])


def _is_due(each: Told, hour: int) -> bool:
    """Who chooses it in the afternoon for the morning gets the first one the next morning."""
    return each.hour <= hour < each.hour + LATE_HOURS


def write(
    db: Session, staff_id: int, subject: str, about: str, pair_id: int | None = None, *, void: bool = False
) -> None:
    """A letter and what sends it, in one transaction; if there is one about this already, nothing.

    Unless that was never sent because there was nothing to tell for a while: an act was taken back, and that as well.
    """
    now = clock.now()
    insert = insert_on_sqlite if db.get_bind().dialect.name == "sqlite" else insert_on_postgresql
    ended: dict[str, Any] = {"state": "void", "ended_at": now} if void else {"state": "waiting"}
    row = {"staff_id": staff_id, "subject": subject, "about": about, "pair_id": pair_id, "made_at": now}
    wanted = insert(letter_t).values(**row, key=secrets.token_hex(16), **ended)
    once = wanted.on_conflict_do_update(
        index_elements=["staff_id", "subject", "about"],
        set_={"made_at": now, "state": "waiting", "ended_at": None},
        where=and_(letter_t.c.state == "void", literal(not void)),
    )
    letter_id = db.execute(once.returning(letter_t.c.id)).scalar()
    if letter_id is not None and not void:
        outbox.put(db, MAIL, {"letter": letter_id})


def drop_old_letters(db: Session, most: int = 500) -> int:
    """Deletes at most `most` letters written long ago, and returns how many; 0 when none is left."""
    old = select(Letter.id).where(col(Letter.made_at) < clock.now() - KEPT).limit(most)
    gone = delete(Letter).where(col(Letter.id).in_(old)).returning(col(Letter.id))
    return len(db.execute(gone).all())
