"""Reading what the clinic knows of a pair: its plan, reviews, wishes, contacts; and the reviews due, by day.

How its wearer stands is read in stance.py.
"""

from collections.abc import Collection
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import func, select, tuple_
from sqlmodel import Session, col

from app import clock
from app.bench import queries as pairs
from app.bench.queries import Loaded, MoveRow, order_t, pair_t
from app.bench.rules.acts import ACTS
from app.bench.rules.belongings import words_of
from app.bench.rules.machine import SIDE_WORDS, may, when
from app.bench.rules.stages import MAKING, STAGES
from app.bench.tables import Move
from app.fitting.queries import at_home, outcomes, plans, stance, stance_view, together
from app.fitting.rules import contact, fit, outcome, plan, review, wearer
from app.fitting.rules.stance import KINDS as STANCE
from app.fitting.tables import Adjustment, ClinicPlan, FitCheck, Review, WearingPlan, Wish
from app.journal.tables import Note
from app.orders import queries as orders
from app.orders.rules import SHOE_KINDS, is_child
from app.people import queries as people
from app.people.rules import Role, Viewer
from app.people.tables import Staff
from app.templating import day_words
from app.trade import wearing
from app.trade.sentences import LANGUAGES, SIZES
from app.trade.sizes import SYSTEMS

review_t, recheck_t, wish_t, contact_t = (
    Review.metadata.tables[name] for name in ("review", "recheck", "wish", "contact")
)
CLINIC_ACTS = (
    "dispense",
    "send_back",
    "park",
    "tell",
    "book",
    "no_show",
    "adjust",
    "keep_wearing",
    "settle",
    "note_request",
)
SOON = timedelta(days=30)


def open_review(db: Session, pair_id: int) -> Review | None:
    wanted = select(Review).where(col(Review.pair_id) == pair_id, col(Review.state) == "open")
    return db.execute(wanted.order_by(col(Review.number).desc())).scalars().first()


def reviews(db: Session, pair_id: int) -> list[Review]:
    """All of a pair's reviews, the latest first."""
    wanted = select(Review).where(col(Review.pair_id) == pair_id).order_by(col(Review.number).desc())
    return list(db.execute(wanted).scalars())


def wearing_plan(db: Session, pair_id: int) -> WearingPlan | None:
    """The plan that the wearer follows now, or followed last; None before dispensing."""
    wanted = select(WearingPlan).where(col(WearingPlan.pair_id) == pair_id, col(WearingPlan.void).is_(False))
    return db.execute(wanted.order_by(col(WearingPlan.id).desc())).scalars().first()


def fit_checks(db: Session, moves: Collection[MoveRow]) -> dict[int, str]:
    """What was found at each fit check of a pair's history, in words, by the move that came of it."""
    checked = [move.id for move in moves if "result" in move.facts]
    if not checked:
        return {}
    wanted = select(col(FitCheck.move_id), col(FitCheck.answers), col(FitCheck.result))
    rows = db.execute(wanted.where(col(FitCheck.move_id).in_(checked)))
    return {move_id: fit.words(answers, result) for move_id, answers, result in rows}


class WishRow(NamedTuple):
    noted_at: datetime
    red_flags: list[str]
    words: str | None


def open_wishes(db: Session, pair_id: int) -> list[WishRow]:
    rows = db.execute(
        select(col(Wish.noted_at), col(Wish.red_flags), col(Note.words))
        .join(Move, col(Move.id) == col(Wish.move_id))
        .join(Note, col(Note.id) == col(Move.note_id), isouter=True)
        .where(col(Wish.pair_id) == pair_id, col(Wish.answered_at).is_(None))
        .order_by(col(Wish.id))
    )
    return [WishRow(*row) for row in rows]


def attempts(db: Session, pair_id: int) -> int:
    """How often the clinic tried to bring the wearer to a review since the pair was dispensed last."""
    dispensed = select(func.max(col(Move.id))).where(col(Move.pair_id) == pair_id, col(Move.act) == "dispense")
    counted = select(func.count()).where(
        contact_t.c.pair_id == pair_id,
        contact_t.c.kind.in_(("told", "no_show")),
        contact_t.c.move_id > dispensed.scalar_subquery(),
    )
    return int(db.execute(counted).scalar_one())


def first_told(db: Session, pair_id: int, since: datetime) -> datetime | None:
    """When the wearer was first told after `since`, the moment the pair was there."""
    told = select(func.min(contact_t.c.at)).where(
        contact_t.c.pair_id == pair_id, contact_t.c.kind == "told", contact_t.c.at >= since
    )
    found: datetime | None = db.execute(told).scalar_one()
    return found


class ContactRow(NamedTuple):
    kind: str
    at: datetime
    by: str
    how: str | None
    who: str | None
    what: str | None
    appointment: datetime | None


def contacts(db: Session, pair_id: int, most: int = 20) -> list[ContactRow]:
    """The latest first."""
    rows = db.execute(
        select(
            contact_t.c.kind,
            contact_t.c.at,
            col(Staff.name),
            contact_t.c.how,
            contact_t.c.who,
            contact_t.c.what,
            contact_t.c.appointment,
        )
        .join(Staff, col(Staff.id) == contact_t.c.staff_id)
        .where(contact_t.c.pair_id == pair_id)
        .order_by(contact_t.c.id.desc())
        .limit(most)
    )
    return [ContactRow(*row) for row in rows]


class DueRow(NamedTuple):
    id: int
    pair_id: int
    code: str
    label: str
    all_sides: str
    clinic_id: int
    due_on: date
    appointment: datetime | None
    number: int
    reason: str
    """The pair's visit: a first pair, an adjustment, a remake."""
    patient_id: int


def reviews_due(
    db: Session, clinics: Collection[int], after: tuple[date, int] | None = None, limit: int = 100
) -> list[DueRow]:
    """Open reviews of these clinics by the day they are due, the most overdue first; `after` is the last one seen."""
    query = (
        select(
            review_t.c.id,
            review_t.c.pair_id,
            pair_t.c.code,
            pair_t.c.label,
            pair_t.c.all_sides,
            pair_t.c.clinic_id,
            review_t.c.due_on,
            review_t.c.appointment,
            review_t.c.number,
            pair_t.c.reason,
            order_t.c.patient_id,
        )
        .join(pair_t, pair_t.c.id == review_t.c.pair_id)
        .join(order_t, order_t.c.id == pair_t.c.order_id)
        .where(review_t.c.state == "open", pair_t.c.clinic_id.in_(list(clinics)))
        .order_by(review_t.c.due_on, review_t.c.id)
        .limit(limit)
    )
    if after:
        query = query.where(tuple_(review_t.c.due_on, review_t.c.id) > tuple_(*after))
    return [DueRow(*row) for row in db.execute(query)]


class WaitingRow(NamedTuple):
    code: str
    label: str
    noted_at: datetime
    red_flags: list[str]


def wishes_waiting(db: Session, clinics: Collection[int], most: int = 200) -> list[WaitingRow]:
    """Pairs of these clinics with a wish that waits, the oldest first; those with a red flag are urgent."""
    rows = db.execute(
        select(pair_t.c.code, pair_t.c.label, wish_t.c.noted_at, wish_t.c.red_flags)
        .join(pair_t, pair_t.c.id == wish_t.c.pair_id)
        .where(wish_t.c.answered_at.is_(None), pair_t.c.clinic_id.in_(list(clinics)))
        .order_by(wish_t.c.id)
        .limit(most)
    )
    return [WaitingRow(*row) for row in rows]


class RecheckRow(NamedTuple):
    id: int
    code: str
    label: str
    due_on: date
    kind: str


def rechecks_due(db: Session, clinics: Collection[int], until: date, most: int = 200) -> list[RecheckRow]:
    """Open rechecks of these clinics due on or before `until`."""
    rows = db.execute(
        select(recheck_t.c.id, pair_t.c.code, pair_t.c.label, recheck_t.c.due_on, recheck_t.c.kind)
        .join(pair_t, pair_t.c.id == recheck_t.c.pair_id)
        .where(recheck_t.c.state == "open", recheck_t.c.due_on <= until, pair_t.c.clinic_id.in_(list(clinics)))
        .order_by(recheck_t.c.due_on, recheck_t.c.id)
        .limit(most)
    )
    return [RecheckRow(*row) for row in rows]


def pair_view(db: Session, loaded: Loaded, viewer: Viewer) -> dict[str, Any]:
    """What the pair page shows a clinician of the pair while it is dispensed or worn in; empty for anyone else.

    Plain values for the fragments in templates/fitting: forms with their choices, and what is known in words.
    """
    row, state = loaded.row, loaded.state
    here = viewer.at(row["clinic_id"])
    if state.stage not in ("dispense", "wear_in") or not here.has(Role.CLINICIAN):
        return {}
    today = clock.today(people.lab(db).zone)
    values: dict[str, Any] = {
        "stage": state.stage,
        "why_not": {key: may(state, ACTS[key], here) or when(state, ACTS[key]) or "" for key in CLINIC_ACTS},
        "sides": [(side, SIDE_WORDS[side]) for side in state.all_sides],
        "side_choices": [(s, SIDE_WORDS[s]) for s in ("LR", "L", "R") if set(s) <= set(state.all_sides)],
        "ends": state.stage == "dispense" and "wear_in" not in state.route,
        "contacts": [contact_words(each, viewer.zone, today) for each in contacts(db, row["id"])],
        "how": list(contact.HOW.items()),
        "who": list(contact.WHO.items()),
        "what": contact.usual_what(state.stage),
        "stance_repeats": STANCE["angles"].repeats,
        "stance": stance_view.in_short(stance.measures(db, row["id"]), state.all_sides),
    }
    if state.stage == "dispense":
        return values | _dispensing(db, loaded, viewer, today)
    return values | _wearing(db, loaded, viewer, today)


def outcomes_after(db: Session, loaded: Loaded, viewer: Viewer) -> outcome.SideBySide | None:
    """What the wearer of a pair that is no longer worn in told of it, for a clinician; before, the review shows it."""
    if loaded.state.stage == "wear_in" or not viewer.at(loaded.row["clinic_id"]).has(Role.CLINICIAN):
        return None
    return outcome.side_by_side(outcomes.told(db, loaded.row["id"], viewer.zone))


def _dispensing(db: Session, loaded: Loaded, viewer: Viewer, today: date) -> dict[str, Any]:
    row = loaded.row
    order, patient = orders.order_and_patient(db, row["order_id"])
    at_risk = plan.high_risk(patient.risks)
    kind = plan.recheck_kind(patient.risks, is_child(patient.born_on, patient.born_year, today))
    calendar = people.work_calendar(db)
    fitting = row["fitting_at"].astimezone(ZoneInfo(viewer.zone)) if row["fitting_at"] else None
    return {
        "appointment": row["fitting_at"],
        "others": [],
        "same": [],
        "early": contact.early_words(fitting.date() if fitting else None, row["promised_on"]),
        "only_trimming": fit.ONLY_TRIMMING,
        "things": [
            (each.id, words_of(each.kind, each.side)) for each in pairs.belongings(db, [row["id"]], unsettled=True)
        ],
        "cautions": ("A trim can't be added back: small passes, against the liner.", *review.WATCH_FOR),
        "choices": [(look.key, look.label, list(look.answers.items())) for look in fit.CHOICES.values()],
        "ticks": [(key, label) for key, (label, _) in fit.TICKS.items()],
        "degrees": list(fit.DEGREES.items()),
        "plans": [(each.key, each.words) for each in wearing.PLANS.values()]
        + [(plan.own_key(each.id), own_words(each)) for each in plans.offered(db, [row["clinic_id"]])],
        "usual_plan": wearing.usual("sensation_loss" in patient.risks).key,
        "before": list(outcome.BEFORE.items()) if wearing_plan(db, row["id"]) is None else [],
        "beside": [
            (each.code, (today - each.plan.from_day).days + 1) for each in together.worn_in(db, row["id"]) if each.plan
        ],
        "targets": list(plan.TARGETS.items()),
        "high_risk": at_risk,
        "review_on": wearing.review_day(today, at_risk, calendar),
        "recheck_days": wearing.recheck_days(today, calendar) if kind else (),
        "shoe_now": order.shoe | ({"size": f"{order.shoe['size']:g}"} if "size" in order.shoe else {}),
        "shoe_kinds": list(SHOE_KINDS.items()),
        "shoe_systems": [(system, system.upper()) for system in SYSTEMS],
    }


def _wearing(db: Session, loaded: Loaded, viewer: Viewer, today: date) -> dict[str, Any]:
    pair_id = loaded.row["id"]
    due, wishes, worn = open_review(db, pair_id), open_wishes(db, pair_id), wearing_plan(db, pair_id)
    found = together.hours(db, worn, today, people.lab(db).zone) if worn else None
    noted = found.noted if found else []
    others = together.open_for_review(db, pair_id)
    stopped = wearer.stopped_by(noted)
    red = [review.RED_FLAGS[flag] for wish in wishes for flag in wish.red_flags]
    red += [wearer.FLAG_WORDS] if stopped else []
    return _at_home(db, loaded, viewer, due, worn, noted) | {
        "review": due,
        "appointment": due.appointment if due else None,
        "overdue": due is not None and due.due_on < today,
        "early": "",
        "not_yet": due is not None and today < review_day(due, viewer.zone) and not red,
        "red_flags": list(dict.fromkeys(red)),
        "red_flag_says": review.RED_FLAG_SAYS,
        "cautions": review.WATCH_FOR,
        "wishes": [(wish.noted_at, wish.words or "") for wish in wishes],
        "plan_words": plan_words(db, worn) if worn else "",
        "plan_days": together.days_words(found) if found else [],
        "together": together.view(found, loaded.state.code, today) if found and found.pairs else None,
        "others": [(each.code, together.other_words(each, viewer.zone, today)) for each in others],
        "same": [each.code for each in others if due and due.appointment and each.appointment == due.appointment],
        "day_number": (today - worn.from_day).days + 1 if worn else 0,
        "outcomes": outcome.side_by_side(outcomes.told(db, pair_id, viewer.zone)),
        "earlier": [review_words(each) for each in reviews(db, pair_id) if each.state == "held"],
        "adjusted": adjustments(db, pair_id),
        "places": review.zone_places(),
        "marked": adjusted_zones(db, pair_id),
        "skin": list(review.SKIN.items()),
        "flag_list": list(review.RED_FLAGS.items()),
        "zones": [(key, f"{number} · {words}") for key, number, words, *_ in review.zone_places()],
        "done_list": list(review.WHAT.items()),
        "lab_stages": [(key, STAGES[key].queue.removeprefix("To ")) for key in _lab_stages(loaded)],
        "attempts": attempts(db, pair_id),
        "attempts_wanted": int(people.limit(db, "close_after_attempts") or contact.CLOSE_AFTER_ATTEMPTS),
    }


def plan_words(db: Session, worn: WearingPlan) -> str:
    if worn.plan in wearing.PLANS:
        return wearing.PLANS[worn.plan].words
    return f"{plans.name_of(db, worn.plan)}, a plan of the clinic's own"


def own_words(own: ClinicPlan) -> str:
    start, step, target = (plan.hours_words(each) for each in (own.start_minutes, own.step_minutes, own.target_minutes))
    return f"{own.name}: {start}, then {step} more each day, up to {target}" if step else f"{own.name}: {start} a day"


def _at_home(
    db: Session, loaded: Loaded, viewer: Viewer, due: Review | None, worn: WearingPlan | None, noted: list[wearer.Day]
) -> dict[str, Any]:
    """The wearer's own page, as far as the clinic is concerned: its link, and what was noted on it."""
    link = at_home.open_link(db, loaded.row["id"])
    good = link is not None and due is not None and link.review_id == due.id
    return {
        "page_why_not": why_no_page(people.clinic(db, loaded.row["clinic_id"]), due, worn),
        "page_until": at_home.good_until(due.due_on, due.appointment, viewer.zone) if good and due else None,
        "noted": [
            (day.number, worn.from_day + timedelta(days=day.number - 1), wearer.day_words(day, plan.hours_words))
            for day in noted
            if worn
        ],
        "held_by_wearer": wearer.stopped_by(noted) is not None or wearer.hurts(noted),
        "languages": [(each.key, each.name) for each in LANGUAGES.values()],
        "unreviewed": [each.name for each in LANGUAGES.values() if not each.reviewed],
        "sizes": list(SIZES.items()),
    }


def why_no_page(clinic: people.ClinicRow, due: Review | None, worn: WearingPlan | None) -> str:
    """Why a wearer of this clinic can't be given a page now; empty if there is nothing in the way."""
    if not clinic.wearer_pages:
        return "A manager can switch the wearers’ own pages on for this clinic, on the lab’s page."
    if not clinic.phone:
        return f"The page says to phone first, and {clinic.name} has no telephone number; a manager adds it."
    if due is None or worn is None:
        return "The page goes with a wearing-in plan and its review; one of them is not set."
    return ""


def _lab_stages(loaded: Loaded) -> list[str]:
    """Stages an adjustment may name: those of the way the pair was made that this lab works with."""
    optional = loaded.state.terms.stages_on
    made_by = {"pour": "cast", "carve": "carved", "mill": "direct"}
    way = loaded.row["way"]
    return [
        key
        for key in MAKING
        if (not STAGES[key].optional or key in optional)
        and made_by.get(key, way) == way
        and not (key == "press" and way == "direct")
    ]


def review_day(due: Review, zone: str) -> date:
    """The day from which adjustments are decided: the day it is due, or an earlier appointment's."""
    booked = due.appointment.astimezone(ZoneInfo(zone)).date() if due.appointment else due.due_on
    return min(due.due_on, booked)


def review_words(held: Review) -> tuple[datetime | None, str]:
    """When a review was held, and what was found, in one sentence."""
    found = [review.OUTCOMES.get(str(held.outcome), "")]
    if held.hours_reached is not None:
        found.append(f"{held.hours_reached:g}\u00a0h a day reached")
    found += [
        f"{label.lower()} {value}{' %' if most == 100 else f' of {most}'}"
        for name, (label, most) in review.SCALES.items()
        if (value := getattr(held, name)) is not None
    ]
    if held.skin:
        found.append(f"skin: {review.SKIN[held.skin]}")
    return held.held_at, f"Review {held.number}: {', '.join(found)}"


def adjusted_zones(db: Session, pair_id: int) -> dict[str, set[str]]:
    """By side, the zones that were ever adjusted by hand."""
    found: dict[str, set[str]] = {}
    for side, zone in db.execute(
        select(col(Adjustment.side), col(Adjustment.zone)).where(col(Adjustment.pair_id) == pair_id)
    ):
        found.setdefault(side, set()).add(zone)
    return found


def adjustments(db: Session, pair_id: int) -> list[tuple[datetime, str]]:
    """What was adjusted by hand so far: when, and "right medial arch: lowered or ground back"."""
    rows = db.execute(
        select(col(Move.done_at), col(Adjustment.side), col(Adjustment.zone), col(Adjustment.what))
        .join(Move, col(Move.id) == col(Adjustment.move_id))
        .where(col(Adjustment.pair_id) == pair_id)
        .order_by(col(Adjustment.id).desc())
    )
    return [(row[0], f"{SIDE_WORDS[row[1]]} {review.ZONES[row[2]]}: {review.WHAT[row[3]]}") for row in rows]


def contact_words(row: ContactRow, zone: str, today: date) -> tuple[datetime, str]:
    if row.kind == "told":
        return row.at, f"{row.by} told {contact.WHO[str(row.who)]} {contact.HOW[str(row.how)]}"
    if row.kind == "no_show":
        return row.at, f"Did not come to the {row.what} (noted by {row.by})"
    at = row.appointment.astimezone(ZoneInfo(zone)) if row.appointment else None
    when_words = f" on {day_words(at.date(), today)} at {at.hour}:{at:%M}" if at else ""
    return row.at, f"{row.by} booked a {row.what}{when_words}"
