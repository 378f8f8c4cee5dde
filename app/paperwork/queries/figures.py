"""The bench's numbers with what they need read together: one pair's at its stage, and the sheets of several pairs."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from app.bench import queries as bench
from app.bench.queries import Loaded
from app.bench.rules.cutting import StockSheet
from app.bench.rules.figures import FIGURES, Figure
from app.bench.rules.measures import Sides, Worn, sides_of
from app.bench.rules.record import shown_at
from app.bench.rules.settings import BenchSettings, oven_row, oven_words
from app.bench.rules.sheets import Given, given
from app.bench.rules.stages import STAGES
from app.capture import queries as captures
from app.orders import queries as orders
from app.orders.rules import Body
from app.people import queries as people
from app.trade import codes

MOST_PAIRS = 50
"""On one sheet: more are worked in two bowls and two loads anyway."""
SHEETS = {"pour": "pour", "oven": "press"}
"""Which queue's pairs a sheet is for."""


@dataclass(frozen=True, slots=True)
class Batch:
    """What a sheet is worked out from, and the pairs that it leaves out, each with why."""

    rows: Sequence[Given]
    labels: dict[str, str]
    settings: BenchSettings
    stock: Sequence[StockSheet]
    """What an oven load's blanks may be cut from, if they are cut here."""
    left_out: list[str]


def stage_figures(db: Session, loaded: Loaded) -> list[tuple[str, list[Figure]]]:
    """Stage by stage what the pair needs where it stands: the stage's key and its figures; empty at other stages."""
    stages = [stage for stage in shown_at(loaded.state) if stage in FIGURES]
    if not stages:
        return []
    sides, settings = _sides(db, loaded), bench.bench_settings(db)
    working = {side: each for side, each in sides.items() if side in loaded.state.working}
    found = [(stage, FIGURES[stage](working, settings)) for stage in reversed(stages)]
    return [(stage, figures) for stage, figures in found if figures]


def route_figures(db: Session, loaded: Loaded) -> list[tuple[str, list[Figure]]]:
    """The same for every stage of the route, for paper that goes with the pair."""
    sides, settings = _sides(db, loaded), bench.bench_settings(db)
    stages = [key for key in STAGES if key in FIGURES and (key in loaded.state.route or STAGES[key].optional)]
    return [(stage, FIGURES[stage](sides, settings)) for stage in stages]


def press_words(db: Session, bodies: Mapping[int, Body]) -> dict[int, tuple[str, ...]]:
    """What a press queue's rows say of the heat, by pair: once where both sides need the same."""
    if not bodies:
        return {}
    settings, found = bench.bench_settings(db), {}
    for pair_id, body in bodies.items():
        rows = [oven_row(settings, items.get("shell"), items.get("shell_thickness", 0) / 10) for items in body.values()]
        found[pair_id] = tuple(dict.fromkeys(oven_words(row) for row in rows if row))
    return found


def _sides(db: Session, loaded: Loaded) -> Sides:
    order_id = loaded.row["order_id"]
    order, _ = orders.order_and_patient(db, order_id)
    worn = Worn(order.feet, order.shoe, people.lab(db).last_allowance)
    return sides_of(orders.holding(db, order_id).body, captures.meshes(db, [order_id])[order_id], worn)


def batch(db: Session, kind: str, asked: Collection[str], today: date) -> Batch:
    """The sides of the pairs `asked` for that have work at the sheet's stage; without any, the first of its queue."""
    stage = SHEETS[kind]
    wanted, left_out = _read(asked)
    if not asked:
        wanted = [row.code for row in bench.queue(db, stage, clinics=None, limit=12)[0] if not row.parked_on]
    pairs = bench.batch(db, wanted)
    unknown = set(wanted) - {pair.code for pair in pairs}
    left_out += [f"{code}: there is no such pair." for code in wanted if code in unknown]
    order_ids = [pair.order_id for pair in pairs]
    bodies, meshes, settings = orders.bodies(db, order_ids), captures.meshes(db, order_ids), bench.bench_settings(db)
    rows: list[Given] = []
    for pair in pairs:
        if working := pair.working(stage):
            worn = Worn(pair.feet, pair.shoe, people.lab(db).last_allowance)
            sides = sides_of(bodies[pair.order_id], meshes[pair.order_id], worn)
            rows += given(pair.code, sides, working, settings)
        else:
            where = STAGES[pair.stage].queue if pair.stage else "its end"
            left_out.append(
                f"{pair.code} is left out: no side of it has work at {STAGES[stage].queue}; it is at {where}."
            )
    labels = {pair.code: pair.label for pair in pairs}
    return Batch(rows, labels, settings, _stock(db, kind, rows, settings, today), left_out)


def _stock(db: Session, kind: str, rows: Sequence[Given], settings: BenchSettings, today: date) -> Sequence[StockSheet]:
    """Of these shells' materials alone: it is kept with what is printed."""
    if kind != "oven" or not settings.cuts_blanks:
        return []
    needed = {(row.material, row.thickness_mm) for row in rows}
    return [each for each in bench.sheets_in_stock(db, today) if each.of in needed]


def labels(db: Session, pair_codes: Collection[str]) -> dict[str, str]:
    """The chart labels of these pairs."""
    return {row.code: row.label for row in bench.batch(db, pair_codes)}


def _read(asked: Collection[str]) -> tuple[list[str], list[str]]:
    """The codes in what was asked for, each once, and the sentences of those that are none or too many."""
    good: dict[str, None] = {}
    wrong = []
    for text in asked:
        try:
            good[codes.parse(text)] = None
        except ValueError as fault:
            wrong.append(str(fault))
    if len(good) > MOST_PAIRS:
        wrong.append(f"A sheet takes {MOST_PAIRS} pairs at most; the first {MOST_PAIRS} of {len(good)} are on it.")
    return list(good)[:MOST_PAIRS], wrong
