"""The wearer's own page: giving and withdrawing it, what is noted on it, and clearing what holds the hours."""

from datetime import date

from sqlalchemy import or_, update
from sqlmodel import Session, col

from app import clock, outbox
from app.bench import queries as pairs
from app.bench.queries import Loaded
from app.errors import NotFound, TooManyTries, Unready
from app.fitting import queries
from app.fitting.queries import at_home
from app.fitting.queries.at_home import Opened
from app.fitting.rules import wearer
from app.fitting.tables import WearerLink, WearerNote
from app.journal import actions as journal
from app.people import actions as people_actions
from app.people import queries as people
from app.people.permissions import need
from app.people.rules import Viewer, hash_of, new_token

WRONG_LINKS = 40
"""Per address in a quarter of an hour, before it is answered no more: a whole clinic may stand behind one."""
NOTES_BY_ADDRESS = 200
NOTES_BY_LINK = 60
"""Taps in a quarter of an hour; a day's note has three answers."""
TOO_MANY = "This was asked too often. Try again in a quarter of an hour; if something hurts, call your clinic now."
NOT_OPEN = "The address is not right, or its time is over. Call your clinic."


def give_page(db: Session, *, code: str, by: Viewer) -> str:
    """The secret of a new link, shown once; an earlier one of this pair ends."""
    loaded = _find(db, code, by)
    pair_id, clinic = loaded.row["id"], people.clinic(db, loaded.row["clinic_id"])
    due = queries.open_review(db, pair_id)
    if why := queries.why_no_page(clinic, due, queries.wearing_plan(db, pair_id)):
        raise Unready(why)
    _end_link(db, pair_id)
    secret = new_token()
    made = WearerLink(
        pair_id=pair_id,
        review_id=due.id if due else 0,
        token_hash=hash_of(secret),
        made_by=by.staff_id,
        made_at=clock.now(),
    )
    db.add(made)
    db.flush()
    journal.write(db, "wearer_page_given", by=by.staff_id, subject="pair", subject_id=pair_id)
    return secret


def withdraw_page(db: Session, *, code: str, by: Viewer) -> None:
    """The link opens nothing from now on; withdrawn twice is withdrawn once."""
    pair_id = _find(db, code, by).row["id"]
    if _end_link(db, pair_id):
        journal.write(db, "wearer_page_withdrawn", by=by.staff_id, subject="pair", subject_id=pair_id)


def clear_notes(db: Session, *, code: str, by: Viewer) -> None:
    """A clinician has looked at what the wearer noted: it holds the hours no longer."""
    pair_id = _find(db, code, by).row["id"]
    if days := clear(db, pair_id, by.staff_id):
        facts = {"days": days}
        journal.write(db, "wearer_cleared", by=by.staff_id, subject="pair", subject_id=pair_id, facts=facts)


def clear(db: Session, pair_id: int, staff_id: int) -> int:
    """Clears every red flag and every painful day that still holds the hours, and says how many there were."""
    holding = or_(col(WearerNote.flagged_at).is_not(None), col(WearerNote.comfort) == wearer.WORST)
    open_ones = (col(WearerNote.pair_id) == pair_id, col(WearerNote.cleared_at).is_(None), holding)
    values = {"cleared_at": clock.now(), "cleared_by": staff_id}
    changed = update(WearerNote).where(*open_ones).values(values).returning(col(WearerNote.id))
    return len(db.execute(changed).all())


def count_wrong_link(db: Session, *, address: str) -> None:
    """Counts an address at which nothing was found; wants a transaction of its own."""
    people_actions.count(db, {_by_address(address): WRONG_LINKS})


def check_address(db: Session, *, address: str) -> None:
    """Refuses who has tried too many addresses before anything is looked for; only reads."""
    if people_actions.is_used_up(db, _by_address(address), WRONG_LINKS):
        raise TooManyTries(TOO_MANY)


def count_note(db: Session, *, secret: str, address: str) -> None:
    """Counts a tap, for all processes, before it is kept; wants a transaction of its own, which a refusal undoes."""
    most = {f"wearer link {hash_of(secret)}": NOTES_BY_LINK, f"wearer taps {address}": NOTES_BY_ADDRESS}
    if not people_actions.count(db, most):
        raise TooManyTries(TOO_MANY)


def open_page(db: Session, *, secret: str, address: str) -> Opened:
    """Whose page it is. NotFound, always the same, where there is none; nobody is signed in here."""
    check_address(db, address=address)
    zone = people.lab(db).zone
    found = at_home.opened(db, hash_of(secret), clock.today(zone), zone)
    if found is None:
        raise NotFound(NOT_OPEN)
    return found


def note(db: Session, *, secret: str, address: str, name: str, value: str) -> None:
    """Keeps one answer of today's note. A red flag stays one, however the answer is changed, until it is cleared."""
    page = open_page(db, secret=secret, address=address)
    field, answer = wearer.read_answer(name, value)
    pairs.find_by_id(db, page.pair_id, lock=True)  # two taps at once are one note
    kept = _todays(db, page.pair_id, clock.today(people.lab(db).zone))
    setattr(kept, field, answer)
    kept.noted_at = clock.now()
    red = answer == wearer.RED_FLAG
    if red and (kept.flagged_at is None or kept.cleared_at is not None):
        kept.flagged_at, kept.cleared_at, kept.cleared_by = clock.now(), None, None
        outbox.put(db, "red_flag_noted", {"pair": page.pair_id})
    elif field == "comfort" and answer == wearer.WORST and kept.flagged_at is None:
        kept.cleared_at = kept.cleared_by = None
    db.add(kept)
    db.flush()
    what = "wearer_red_flag" if red else "wearer_noted"
    journal.write(db, what, by=None, subject="pair", subject_id=page.pair_id, facts={"fields": [field]})


def _todays(db: Session, pair_id: int, today: date) -> WearerNote:
    return at_home.note_of(db, pair_id, today) or WearerNote(pair_id=pair_id, day=today, noted_at=clock.now())


def _find(db: Session, code: str, by: Viewer) -> Loaded:
    loaded = pairs.find(db, code, by, lock=True)
    need(by, "keep_wearer_page", loaded.row["clinic_id"])
    return loaded


def _end_link(db: Session, pair_id: int) -> bool:
    link = at_home.open_link(db, pair_id)
    if link is None:
        return False
    link.ended_at = clock.now()
    db.add(link)
    db.flush()
    return True


def _by_address(address: str) -> str:
    return f"wearer address {address}"
