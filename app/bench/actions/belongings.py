"""What came with a pair: noted, packed along, given back; a journal entry each, unless an act on the pair says it."""

from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import update
from sqlmodel import Session, col, select

from app import clock
from app.bench import queries
from app.bench.queries import Loaded
from app.bench.rules.belongings import FATES, read_fate, read_kind, words_of
from app.bench.tables import Belonging, Pair, Parcel, ParcelBelonging, ParcelItem
from app.errors import BadInput, NotFound, Unready
from app.journal import actions as journal
from app.people import queries as people
from app.people.rules import Viewer


def add(db: Session, *, code: str, kind: str, side: str, by: Viewer) -> int:
    """Notes something that came with a pair, where the pair is; returns its number."""
    loaded = queries.find(db, code, by, lock=True)
    read_kind(kind, side)
    made = Belonging(pair_id=loaded.row["id"], kind=kind, side=side, place=_here(loaded))
    db.add(made)
    db.flush()
    _journal(db, "belonging_noted", by, made, {"kind": kind, "side": side})
    return made.id


def settle(db: Session, *, code: str, belonging_id: int, becomes: str, by: Viewer, shelf: str = "") -> None:
    """Says what became of one belonging of this pair; what it is already writes nothing.

    It may be said again and otherwise: what was thought lost turns up.
    """
    loaded = queries.find(db, code, by, lock=True)
    thing = db.get(Belonging, belonging_id) if abs(belonging_id) <= people.LARGEST_ID else None
    if thing is None or thing.pair_id != loaded.row["id"]:
        raise NotFound(f"{loaded.state.code} has no such belonging.")
    fate, kept_on = read_fate(becomes, shelf)
    place = _here(loaded) if fate.place == "here" else fate.place
    if (thing.becomes, thing.place, thing.shelf) == (becomes, place, kept_on):
        return
    before = thing.becomes
    if becomes == "in_parcel":
        _travel(db, _parcel_under_way(db, loaded), thing)
    else:
        thing.becomes, thing.place, thing.shelf = becomes, place, kept_on
        thing.settled_at, thing.settled_by = (clock.now(), by.staff_id) if fate.settles else (None, None)
    db.add(thing)
    _journal(db, "belonging_settled", by, thing, {"becomes": [before, becomes]})


def give_back(db: Session, *, pair_id: int, raw: Any, by: Viewer) -> list[tuple[int, str]]:
    """Gives these belongings of the pair to the wearer, who is there; the act's move says so.

    Returns the number and the earlier place of each, by which `keep_again` undoes it. BadInput for anything else
    than numbers of what is still to go back.
    """
    open_ones = {thing.id: thing for thing in _open(db, pair_id)}
    numbers = list(raw) if isinstance(raw, list | tuple) else [raw]
    if any(not isinstance(number, int) or number not in open_ones for number in numbers):
        words = f"What is given back is named by its number; of this pair's belongings {_listed(open_ones)} can be."
        raise BadInput(words, {"given_back": words})
    given = [(number, open_ones[number].place) for number in dict.fromkeys(numbers)]
    for number, _ in given:
        thing = open_ones[number]
        thing.becomes, thing.place = "to_wearer", FATES["to_wearer"].place
        thing.settled_at, thing.settled_by = clock.now(), by.staff_id
        db.add(thing)
    return given


def keep_again(db: Session, given: Collection[tuple[int, str]]) -> None:
    """What `give_back` gave was not given after all."""
    for number, place in given:
        undone = {"becomes": "back", "place": place, "settled_at": None, "settled_by": None}
        db.execute(
            update(Belonging).where(col(Belonging.id) == number, col(Belonging.becomes) == "to_wearer").values(undone)
        )


def pack(db: Session, *, parcel: Parcel, pair_ids: Collection[int], numbers: Collection[int]) -> None:
    """Puts belongings of the pairs in a parcel into it."""
    wanted = select(Belonging).where(col(Belonging.pair_id).in_(list(pair_ids)), col(Belonging.settled_at).is_(None))
    open_ones = db.exec(wanted.order_by(col(Belonging.id))).all() if numbers else []
    things = [thing for thing in open_ones if thing.id in numbers]
    if {thing.id for thing in things} != set(numbers):
        words = "A belonging travels with its pair, and only while it is still to go back."
        raise BadInput(words, {"belongings": words})
    for thing in things:
        _travel(db, parcel, thing)


def unpack(db: Session, *, parcel: Parcel, exceptions: Mapping[int, str]) -> list[str]:
    """What travelled in a parcel has come, but what `exceptions` names as missing or damaged; the missing in words.

    What was accounted for meanwhile stays as it is.
    """
    rows = db.exec(
        select(ParcelBelonging, Belonging, Pair.code)
        .join(Belonging, col(Belonging.id) == col(ParcelBelonging.belonging_id))
        .join(Pair, col(Pair.id) == col(Belonging.pair_id))
        .where(ParcelBelonging.parcel_id == parcel.id)
        .order_by(col(Belonging.id))
    ).all()
    unknown = set(exceptions) - {thing.id for _, thing, _ in rows}
    if unknown:
        wrong = {f"belongings.{number}": f"Belonging {number} is not in this parcel." for number in sorted(unknown)}
        raise BadInput(" ".join(wrong.values()), wrong)
    missing = []
    for item, thing, code in rows:
        item.state = exceptions.get(thing.id, "received")
        if thing.settled_at is None:
            thing.becomes = "back"
            thing.place = "missing" if item.state == "missing" else "clinic" if parcel.to_clinic else "lab"
        if item.state == "missing":
            missing.append(f"{words_of(thing.kind, thing.side)} of {code}")
    db.flush()
    return missing


def _open(db: Session, pair_id: int) -> list[Belonging]:
    wanted = select(Belonging).where(Belonging.pair_id == pair_id, col(Belonging.settled_at).is_(None))
    return list(db.exec(wanted.order_by(col(Belonging.id))))


def _listed(things: Mapping[int, Belonging]) -> str:
    return ", ".join(f"{number} ({words_of(each.kind, each.side)})" for number, each in things.items()) or "none"


def _travel(db: Session, parcel: Parcel, thing: Belonging) -> None:
    thing.becomes, thing.place = "in_parcel", FATES["in_parcel"].place
    thing.settled_at, thing.settled_by, thing.shelf = None, None, None
    db.add(thing)
    if db.get(ParcelBelonging, (parcel.id, thing.id)) is None:
        db.add(ParcelBelonging(parcel_id=parcel.id, belonging_id=thing.id))


def _parcel_under_way(db: Session, loaded: Loaded) -> Parcel:
    found = db.exec(
        select(Parcel)
        .join(ParcelItem, col(ParcelItem.parcel_id) == col(Parcel.id))
        .where(ParcelItem.pair_id == loaded.row["id"], col(Parcel.received_at).is_(None))
    ).first()
    if found is None:
        raise Unready(f"{loaded.state.code} is in no parcel on its way; tick its belongings when it is packed.")
    return found


def _here(loaded: Loaded) -> str:
    """The building where the pair is; a clinic in the house shares the lab's."""
    return "clinic" if loaded.row["by_parcel"] and loaded.row["place"] == "clinic" else "lab"


def _journal(db: Session, what: str, by: Viewer, thing: Belonging, facts: dict[str, Any]) -> None:
    facts = {"belonging": thing.id, **facts}
    journal.write(db, what, by=by.staff_id, subject="pair", subject_id=thing.pair_id, facts=facts)
