"""Pairs that are being worn in, and the wearers who are to be looked at again later."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, Row, func, select
from sqlmodel import Session, col

from app.bench.queries import clinic_t, order_t, pair_t
from app.fitting.queries.at_home import UNCLEARED
from app.fitting.rules.plan import recheck_kind
from app.fitting.rules.review import RED_FLAGS
from app.fitting.rules.wearer import FLAG_WORDS
from app.fitting.tables import Recheck, Review, WearerNote, Wish
from app.orders.rules import is_child
from app.orders.tables import Patient
from app.watch.queries.scope import Scope, Subject
from app.watch.rules import facts

RECHECK_WHY = {"high_risk": "at high risk", "child": "a child"}


def worn(db: Session, scope: Scope, rows: Sequence[Row[Any]]) -> Iterator[facts.Wearing | facts.Wish]:
    """Pairs being worn in: their open reviews, their wearers' need of rechecks, and wishes that wait."""
    being_worn = [pair_t.c.stage == "wear_in", *scope.pairs()]
    reviews = _by_pair(
        db,
        select(col(Review.pair_id), func.max(col(Review.due_on)), func.max(col(Review.appointment)))
        .join(pair_t, pair_t.c.id == col(Review.pair_id))
        .where(col(Review.state) == "open", *being_worn)
        .group_by(col(Review.pair_id)),
    )
    wearers = _by_pair(
        db,
        select(pair_t.c.id, col(Patient.id), col(Patient.born_on), col(Patient.born_year), col(Patient.risks))
        .join(order_t, order_t.c.id == pair_t.c.order_id)
        .join(Patient, col(Patient.id) == order_t.c.patient_id)
        .where(*being_worn),
    )
    rechecked = set(
        db.execute(
            select(order_t.c.patient_id)
            .join(pair_t, pair_t.c.order_id == order_t.c.id)
            .join(Recheck, col(Recheck.patient_id) == order_t.c.patient_id)
            .where(col(Recheck.state) == "open", *being_worn)
        ).scalars()
    )
    wishes: dict[int, list[Row[Any]]] = defaultdict(list)
    for wish in db.execute(
        select(col(Wish.pair_id), col(Wish.noted_at), col(Wish.red_flags))
        .join(pair_t, pair_t.c.id == col(Wish.pair_id))
        .where(col(Wish.answered_at).is_(None), *being_worn)
    ):
        wishes[wish.pair_id].append(wish)
    noted = _noted_at_home(db, being_worn)
    for row in rows:
        _, patient_id, born_on, born_year, risks = wearers[row.id]
        since = min(when for when in (row.left_since, row.right_since) if when)
        kind = recheck_kind(risks, is_child(born_on, born_year, since.date()))
        _, due_on, appointment = reviews.get(row.id, (row.id, None, None))
        why = RECHECK_WHY[kind] if kind else ""
        yield facts.Wearing(row.code, since, due_on, appointment, why, patient_id in rechecked)
        told = [(wish.noted_at, _flag_words(wish.red_flags)) for wish in wishes.get(row.id, ())]
        told += [(noted[row.id], (FLAG_WORDS,))] if row.id in noted else []
        # One flag of a kind stands on a pair: the first that was told with red flags, else the first of all.
        for noted_at, words in sorted(told, key=lambda each: (not each[1], each[0]))[:1]:
            yield facts.Wish(row.code, noted_at, since, due_on, words)


def _flag_words(flags: Sequence[str]) -> tuple[str, ...]:
    return tuple(RED_FLAGS.get(flag, flag).partition(":")[0] for flag in flags)


def _noted_at_home(db: Session, being_worn: Sequence[ColumnElement[bool]]) -> dict[int, datetime]:
    """When a wearer noted a red flag on the own page that nobody has cleared, by pair."""
    query = (
        select(col(WearerNote.pair_id), func.min(col(WearerNote.flagged_at)))
        .join(pair_t, pair_t.c.id == col(WearerNote.pair_id))
        .where(*UNCLEARED, *being_worn)
        .group_by(col(WearerNote.pair_id))
    )
    return {row[0]: row[1] for row in db.execute(query)}


def _by_pair(db: Session, query: Any) -> dict[int, Any]:
    return {row[0]: row for row in db.execute(query)}


def rechecks(db: Session, scope: Scope, today: date) -> Iterator[tuple[facts.Recheck, Subject]]:
    """The earliest open recheck of each pair whose day has come, whether the pair itself is open or not."""
    query = (
        select(
            pair_t.c.code,
            *(pair_t.c.id, pair_t.c.label, pair_t.c.clinic_id, clinic_t.c.name),
            func.min(col(Recheck.due_on)),
            func.min(col(Recheck.kind)),
        )
        .join(pair_t, pair_t.c.id == col(Recheck.pair_id))
        .join(clinic_t, clinic_t.c.id == pair_t.c.clinic_id)
        .where(col(Recheck.state) == "open", col(Recheck.due_on) <= today, *scope.pairs())
        .group_by(pair_t.c.code, pair_t.c.id, pair_t.c.label, pair_t.c.clinic_id, clinic_t.c.name)
    )
    for code, pair_id, label, clinic_id, clinic, due_on, kind in db.execute(query):
        yield facts.Recheck(code, due_on, RECHECK_WHY.get(kind, kind)), Subject(pair_id, label, clinic_id, clinic)
