"""Pairs by the thousand with believable times: the demo's year, and volume for measuring.

Every pair walks the real machine, act by act, on the lab's working calendar; only the writing is done in bulk. A test
replays the log of what was made. All of it is invented; foot lengths and postures follow published distributions.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.random import Generator

from app.bench.rules.acts import SEND_BACK_REASONS
from app.bench.rules.machine import Asked, Hold, Outcome, State, decide
from app.bench.rules.stages import STAGES, Terms, new_route, place_of
from app.orders.rules import bench_marks, needs
from app.people.queries import ClinicRow
from app.people.rules import Role, Viewer
from app.trade.sizes import size
from app.trade.wearing import review_day, usual
from app.trade.worktime import WorkCalendar

FAR = date(9999, 12, 31)
MINUTES = {
    "check_in": 100,
    "prepare": 120,
    "pour": 260,
    "carve": 300,
    "correct": 150,
    "press": 320,
    "mill": 260,
    "grind": 190,
    "cover": 260,
    "trim": 130,
    "inspect": 45,
    "send": 170,
}
"""Median working minutes at a bench stage, waiting and working; invented."""
DAYS = {"receive": 1.2, "return": 2.0, "dispense": 3.5}
"""Median days by the clock."""
BACK = {"press": "pour", "grind": "press", "cover": "press", "trim": "cover", "inspect": "grind", "dispense": "cover"}
QUESTIONS = (
    "Met pad on which side?",
    "The cast is marked left twice. Which is which?",
    "Heel lift: 6 mm under the cover or under the shell?",
    "The shoe's liner does not come out. Cover to toes all the same?",
)
FIRST = (
    "Ada",
    "Bram",
    "Cleo",
    "Dov",
    "Edda",
    "Finn",
    "Gwen",
    "Hal",
    "Ione",
    "Jem",
    "Kit",
    "Lowen",
    "Mab",
    "Ned",
    "Orla",
)
LAST = ("Fenn", "Tarrow", "Quill", "Sedge", "Marl", "Wick", "Brack", "Tansy", "Crake", "Loach", "Reedmace", "Dunlin")


@dataclass(frozen=True)
class House:
    """Who and what there is to work with."""

    clinics: list[ClinicRow]
    technicians: list[int]
    clinicians: dict[int, int]
    """A clinic's clinician."""
    stages_on: frozenset[str]
    calendar: WorkCalendar
    zone: str
    calendar_id: int


@dataclass
class Ids:
    """The next free number of each table."""

    free: dict[str, int]

    def take(self, table: str) -> int:
        number = self.free.get(table, 1)
        self.free[table] = number + 1
        return number


@dataclass
class Rows:
    """What is to be inserted, by table."""

    of: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    def add(self, table: str, **values: Any) -> None:
        self.of.setdefault(table, []).append(values)


class Walker:
    """One pair on its way: draws how long each stage takes and what goes wrong, and writes down each act."""

    def __init__(self, house: House, rng: Generator, ids: Ids, rows: Rows, code: str, ordered_at: datetime) -> None:
        self.house, self.rng, self.ids, self.rows, self.code = house, rng, ids, rows, code
        self.clinic = house.clinics[int(rng.choice(len(house.clinics), p=_shares(len(house.clinics))))]
        self.clinician = house.clinicians[self.clinic.id]
        self.everyone = Viewer(
            self.clinician, "", frozenset(Role), frozenset(clinic.id for clinic in house.clinics), house.zone
        )
        self.terms = Terms(house.stages_on, self.clinic.by_parcel, self.clinic.trims)
        self.way = str(rng.choice(["cast", "carved", "direct"], p=[0.7, 0.15, 0.15]))
        self.all_sides = str(rng.choice(["LR", "L", "R"], p=[0.94, 0.03, 0.03]))
        self.at = self.ordered_at = ordered_at
        self.since: dict[str, datetime] = {}
        self.pair: dict[str, Any] = {}
        self.visits: list[dict[str, Any]] = []
        self.review: dict[str, Any] | None = None
        self.number = 0
        self._write_order()

    def _write_order(self) -> None:
        """Wearer, order, prescription and captures; the pair's own row is written at the end."""
        rng, take = self.rng, self.ids.take
        self.patient_id, self.order_id, self.pair_id = take("patient"), take("orders"), take("pair")
        woman = rng.random() < 0.55
        # US Army anthropometric survey 2012, means and deviations in mm (men from a secondary text).
        foot = float(rng.normal(246.3, 12.4) if woman else rng.normal(271.2, 13.1))
        breadth = float(rng.normal(92.7, 4.8) if woman else rng.normal(101.9, 5.2))
        # Foot Posture Index: population mean +4 (Redmond 2008); its deviation is invented.
        postures = np.clip(np.rint(rng.normal(4, 3, 2)), -12, 12).astype(int).tolist()
        self.risks = [risk for risk, share in (("diabetes", 0.12), ("sensation_loss", 0.07)) if rng.random() < share]
        self.label = f"{FIRST[int(rng.integers(15))][0]}{LAST[int(rng.integers(12))][0]} {1000 + self.patient_id}"
        self.rows.add(
            "patient",
            id=self.patient_id,
            clinic_id=self.clinic.id,
            label=self.label,
            label_key=self.label.replace(" ", ""),
            name=f"{FIRST[int(rng.integers(15))]} {LAST[int(rng.integers(12))]}",
            born_on=None,
            born_year=self.ordered_at.year - int(rng.integers(8, 86)),
            mass_kg=round(float(np.clip(rng.normal(78, 15), 22, 150)), 1),
            posture_left=postures[0],
            posture_right=postures[1],
            risks=self.risks,
        )
        wanted = self.ordered_at.date() + timedelta(days=int(rng.integers(7, 25))) if rng.random() < 0.6 else None
        self.rush = rng.random() < 0.06
        self.rows.add(
            "orders",
            id=self.order_id,
            patient_id=self.patient_id,
            clinic_id=self.clinic.id,
            prescriber_id=self.clinician,
            typed_by=self.clinician,
            ordered_at=self.ordered_at,
            way=self.way,
            sides=self.all_sides,
            wanted_on=wanted,
            rush_note_id=self._note("travels soon") if self.rush else None,
            ulcer_note_id=None,
            shoe={
                "kind": str(rng.choice(["walking", "sports", "dress", "boot"])),
                "size": round(size(round(foot * 10), "eu") * 2) / 2,
                "system": "eu",
                "liner": "out" if rng.random() < 0.8 else "in",
                "inside_width": round((breadth - 4) * 10),
            },
        )
        self.wanted = wanted
        self.body = {side: _prescription(rng, self.way) for side in self.all_sides}
        if len(self.body) == 2 and rng.random() < 0.7:
            self.body["R"] = self.body["L"]
        self.rows.add(
            "prescription",
            id=take("prescription"),
            order_id=self.order_id,
            number=1,
            body=self.body,
            stage_notes={},
            made_by=self.clinician,
            made_at=self.ordered_at,
        )
        self.captures: list[dict[str, Any]] = []
        kind = "scan" if self.way != "cast" else str(rng.choice(["slipper_plaster", "slipper_fibreglass", "foam"]))
        for side in self.all_sides:
            capture = {
                "id": take("capture"),
                "patient_id": self.patient_id,
                "side": side,
                "kind": kind,
                "state": "expected",
                "expected_at": self.ordered_at,
                "arrived_at": None,
                "shelf": "",
                "conditions": {},
                "void_reason": None,
                "file_key": None,
            }
            self.captures.append(capture)
            self.rows.add("capture", **capture)
            self.rows.add("worked_from", order_id=self.order_id, side=side, capture_id=capture["id"], positive_id=None)

    def _note(self, words: str) -> int:
        number = self.ids.take("note")
        # Invented words need no salt of their own; the form of the row is the real one.
        self.rows.add(
            "note", id=number, at=self.at, patient_id=self.patient_id, words=words, salt="demo", digest="0" * 64
        )
        return number

    def walk(self, until: datetime) -> None:
        """Goes on act by act until the pair has ended or the next act would come after `until`."""
        self._begin()
        for act, when in self._acts():
            if when > until:
                break
            self.at = when
            self._do(act)
            if self.state.end:
                break
        self._finish()

    def _begin(self) -> None:
        route = new_route(self.way, self.terms)
        self.state = State(self.code, {}, self.all_sides, route, self.terms)
        self.promised: date | None = None
        self.parked_since: datetime | None = None
        self._new_visit("new", route)
        sides = dict.fromkeys(self.all_sides, route[0])
        after = replace(self.state, sides=sides, version=1)
        self._write(
            Asked("order", None), Outcome(after, self.all_sides, route[0]), self.clinician, {"route": list(route)}
        )
        self.reviews = 0

    def _acts(self) -> Iterator[tuple[Asked, datetime]]:
        """What is done next and when, drawn from the state as it is: the generator looks again after each act."""
        while True:
            state, stage, rng = self.state, self.state.stage, self.rng
            if stage is None:
                return
            if state.holds:
                act = "answer" if state.holds[0].kind == "question" else "resume"
                yield Asked(act, stage, reason="Answered by telephone"), self._working(240)
                continue
            if STAGES[stage].bench and rng.random() < 0.035:
                question = QUESTIONS[int(rng.integers(len(QUESTIONS)))]
                yield Asked("ask", stage, reason=question, waiting_on="clinic"), self._working(60)
                continue
            if STAGES[stage].bench and rng.random() < 0.015:
                yield Asked("park", stage, reason="material", waiting_on="supplier"), self._working(60)
                continue
            can_go_back = BACK.get(stage) in state.route and len(state.working) == len(self.all_sides)
            if can_go_back and rng.random() < 0.03:
                side = str(rng.choice(list(self.all_sides)))
                reason = str(rng.choice(list(SEND_BACK_REASONS)[:8]))
                yield Asked("send_back", stage, BACK[stage], side, reason), self._after(stage)
                continue
            if stage == "wear_in":
                yield self._review(), self._review_at()
            elif rng.random() < 0.004 and stage != "receive":
                yield Asked("withdraw", stage, reason="moved away", facts={"code": self.code}), self._working(120)
            else:
                yield Asked("dispense" if stage == "dispense" else "advance", stage), self._after(stage)

    def _review(self) -> Asked:
        self.reviews += 1
        chance = self.rng.random()
        if chance < 0.14:
            return Asked("adjust", "wear_in", sides=self.all_sides[-1], facts={"where": "here"})
        if chance < 0.18:
            return Asked("adjust", "wear_in", sides=self.all_sides[-1], facts={"where": "lab", "stages": ["cover"]})
        return Asked("settle", "wear_in")

    def _review_at(self) -> datetime:
        days = 7 if self.risks else 14
        day = self.house.calendar.next_working_day((self.at + timedelta(days=days)).date())
        late = int(self.rng.choice([0, 0, 0, 1, 3, 8]))
        day = self.house.calendar.next_working_day(day + timedelta(days=late))
        return datetime.combine(day, datetime.min.time(), ZoneInfo(self.house.zone)) + timedelta(
            hours=9, minutes=int(self.rng.integers(0, 420))
        )

    def _after(self, stage: str) -> datetime:
        if STAGES[stage].bench:
            return self._working(MINUTES[stage] * (0.5 if self.rush else 1))
        days = DAYS[stage] * float(self.rng.lognormal(0, 0.5))
        return self.house.calendar.add_minutes(self.at + timedelta(days=days), 1)

    def _working(self, median: float) -> datetime:
        return self.house.calendar.add_minutes(self.at, max(1, round(median * float(self.rng.lognormal(0, 0.6)))))

    def _do(self, asked: Asked) -> None:
        outcome = decide(self.state, asked, self.everyone)
        extra: dict[str, Any] = {}
        if asked.from_stage == "check_in" and asked.act == "advance":
            self._check_in()
        at_lab = self.state.place == "lab"
        staff = int(self.rng.choice(self.house.technicians)) if at_lab else self.clinician
        if asked.act in ("answer", "withdraw"):
            staff = self.clinician
        self._write(asked, outcome, staff, extra)

    def _check_in(self) -> None:
        local = self.at.astimezone(ZoneInfo(self.house.zone)).date()
        days = {"cast": 10, "carved": 9, "direct": 7}[self.way] + (
            self.clinic.transit_days if self.clinic.by_parcel else 0
        )
        standard = self.house.calendar.add_working_days(local, days)
        later = max(standard, self.wanted or standard)
        self.promised = self.promised or self.house.calendar.next_working_day(later)
        for capture in self.rows.of["capture"][-len(self.captures) :]:
            if capture["id"] in {mine["id"] for mine in self.captures}:
                capture |= {"state": "accepted", "arrived_at": self.at, "shelf": f"C{1 + self.pair_id % 9}"}

    def _write(self, asked: Asked, outcome: Outcome, staff: int, extra: dict[str, Any]) -> None:
        """One move with what follows from it, as app/bench/actions/moving.py would write it."""
        move_id, before, after = self.ids.take("move"), self.state, outcome.state
        facts = dict(extra) | (dict(asked.facts) if asked.act == "adjust" else {})
        if outcome.new_visit:
            self.visits[-1] |= {"ended_at": self.at, "end": outcome.new_visit}
            self._new_visit(outcome.new_visit, after.route)
        if after.route != before.route or outcome.new_visit:
            facts["route"] = list(after.route)
        if outcome.new_visit:
            facts["stages"] = dict(after.sides)
        if outcome.opens:
            facts["opens"] = True
            after = replace(
                after, holds=tuple(Hold(move_id, h.kind, h.waiting_on) if not h.id else h for h in after.holds)
            )
        if outcome.closes:
            facts["closes"] = list(outcome.closes)
        if after.end:
            facts["end"] = after.end
        coded = asked.act in ("send_back", "park")
        note = self._note(asked.reason) if asked.reason and not coded else None
        self.rows.add(
            "move",
            id=move_id,
            pair_id=self.pair_id,
            version=after.version,
            visit_id=self.visits[-1]["id"],
            act=asked.act,
            from_stage=before.stage,
            to_stage=outcome.to_stage,
            sides=outcome.sides,
            reason=asked.reason if coded else None,
            note_id=note,
            note_digest="0" * 64 if note else None,
            staff_id=staff,
            at=self.at,
            done_at=self.at,
            together=False,
            takes_back=None,
            facts=facts,
        )
        self._holds(asked, outcome, move_id, note)
        self._stays(outcome, move_id)
        for side in self.all_sides:
            if after.sides.get(side) != before.sides.get(side):
                self.since[side] = self.at
        if after.stage != before.stage:
            self.stage_since = self.at
        self.visits[-1]["route"] = list(after.route)
        if after.end:
            self.visits[-1] |= {"ended_at": self.at, "end": after.end}
        self.parked_since = (self.parked_since or self.at) if after.holds else None
        self.state = after
        self._wear(asked, move_id)

    def _wear(self, asked: Asked, move_id: int) -> None:
        """The plan and the review that a dispensing makes, and what a review came to."""
        today = self.at.astimezone(ZoneInfo(self.house.zone)).date()
        if asked.act == "dispense" and self.state.stage == "wear_in":
            plan = usual("sensation_loss" in self.risks)
            self.rows.add(
                "wearing_plan",
                id=self.ids.take("wearing_plan"),
                pair_id=self.pair_id,
                move_id=move_id,
                from_day=today,
                start_minutes=plan.start_minutes,
                step_minutes=plan.step_minutes,
                target_minutes=plan.target_minutes,
                plan=plan.key,
                painful_days=[],
                ended_at=None,
                void=False,
            )
        elif asked.from_stage == "wear_in" and self.review is not None:
            where = {"settle": "settle", "adjust": f"adjust_{asked.facts.get('where')}"}
            outcome = where.get(asked.act)
            self.review |= {"state": "held", "held_at": self.at, "outcome": outcome} if outcome else {"state": "void"}
            self.review |= {"comfort": int(self.rng.integers(5, 11)), "pain": int(self.rng.integers(0, 5))}
            self.review = None
        if self.state.stage == "wear_in" and self.review is None:
            self.number += 1
            self.review = {
                "id": self.ids.take("review"),
                "pair_id": self.pair_id,
                "move_id": move_id,
                "number": self.number,
                "due_on": review_day(today, bool(self.risks), self.house.calendar),
                "appointment": None,
                "state": "open",
                "held_at": None,
                "outcome": None,
                "hours_reached": None,
                "comfort": None,
                "pain": None,
                "pain_relief": None,
                "skin": None,
                "note_id": None,
            }
            self.rows.of.setdefault("review", []).append(self.review)

    def _holds(self, asked: Asked, outcome: Outcome, move_id: int, note: int | None) -> None:
        if outcome.opens:
            self.rows.add(
                "hold",
                id=move_id,
                pair_id=self.pair_id,
                kind=outcome.opens.kind,
                reason=asked.reason if asked.act == "park" else None,
                waiting_on=outcome.opens.waiting_on,
                note_id=note,
                opened_at=self.at,
                closed_by=None,
                closed_at=None,
                answer_id=None,
            )
        for hold in self.rows.of.get("hold", [])[-6:]:
            if hold["id"] in outcome.closes:
                hold |= {"closed_by": move_id, "closed_at": self.at, "answer_id": note}

    def _stays(self, outcome: Outcome, move_id: int) -> None:
        local = self.at.astimezone(ZoneInfo(self.house.zone))
        for side, stage in outcome.left.items():
            entered = self.since[side]
            working = self.house.calendar.minutes_between(entered, self.at)
            self.rows.add(
                "stay",
                calendar_id=self.house.calendar_id,
                move_id=move_id,
                side=side,
                pair_id=self.pair_id,
                stage=stage,
                month=local.year * 100 + local.month,
                minutes=working if STAGES[stage].bench else int((self.at - entered).total_seconds() // 60),
                entered_at=entered,
                left_at=self.at,
            )

    def _new_visit(self, reason: str, route: tuple[str, ...]) -> None:
        visit = {
            "id": self.ids.take("visit"),
            "pair_id": self.pair_id,
            "number": len(self.visits) + 1,
            "reason": reason,
            "way": self.way,
            "route": list(route),
            "stages_on": sorted(self.terms.stages_on),
            "by_parcel": self.terms.by_parcel,
            "trims_at_clinic": self.terms.trims_at_clinic,
            "started_at": self.at,
            "ended_at": None,
            "end": None,
        }
        self.visits.append(visit)

    def _finish(self) -> None:
        """The pair as it stands, and its visits."""
        state, stage = self.state, self.state.stage
        self.rows.of.setdefault("visit", []).extend(self.visits)
        wanted: list[str] = []
        if stage and STAGES[stage].bench:
            wanted = needs(self.body, stage, state.working)
            wanted += bench_marks(self.risks) if stage in ("grind", "cover", "trim", "inspect") else []
        first = state.holds[0] if state.holds else None
        self.rows.add(
            "pair",
            id=self.pair_id,
            code=self.code,
            order_id=self.order_id,
            clinic_id=self.clinic.id,
            label=self.label,
            all_sides=self.all_sides,
            left_stage=state.sides.get("L"),
            right_stage=state.sides.get("R"),
            left_since=self.since.get("L"),
            right_since=self.since.get("R"),
            stage=stage,
            since=self.stage_since,
            place=place_of(stage, state.route, state.terms) if stage else "clinic",
            visit_id=self.visits[-1]["id"],
            reason=state.reason,
            end=state.end,
            version=state.version,
            parked_on=first.waiting_on if first else None,
            parked_why=first.kind if first else None,
            parked_since=self.parked_since,
            started_by=None,
            needs=wanted,
            wanted_on=self.wanted,
            promised_on=self.promised,
            fitting_at=None,
            due_on=self.promised or self.wanted or FAR,
            not_before=None,
            rush=self.rush,
            tray=1 + self.pair_id % 40 if stage else None,
            replaces_id=None,
        )


def _shares(clinics: int) -> list[float]:
    weights = np.arange(clinics, 0, -1, dtype=float)
    shares: list[float] = (weights / weights.sum()).tolist()
    return shares


def _prescription(rng: Generator, way: str) -> dict[str, Any]:
    shell = (
        str(rng.choice(["polypropylene", "copolymer", "eva"], p=[0.6, 0.2, 0.2]))
        if way != "direct"
        else "polypropylene"
    )
    thickness = {"polypropylene": (30, 40, 45), "copolymer": (40, 48), "eva": (100, 120)}[shell]
    items: dict[str, Any] = {
        "shell": shell,
        "shell_thickness": int(rng.choice(thickness)),
        "shell_length": "metatarsals",
        "shell_width": str(rng.choice(["narrow", "standard", "wide"], p=[0.2, 0.6, 0.2])),
        "heel_cup": int(rng.choice([100, 120, 140, 160])),
        "arch_fill": "standard",
        "cover": str(rng.choice(["eva", "leather", "foam"])),
        "cover_thickness": int(rng.choice([15, 20, 30])),
        "cover_length": str(rng.choice(["metatarsals", "sulcus", "toes"])),
    }
    if rng.random() < 0.6:
        items["rearfoot_post"] = str(rng.choice(["4/4", "2° varus / 4° motion", "4° varus"]))
    if rng.random() < 0.3:
        items["additions"] = [str(rng.choice(["met_pad", "heel_lift", "morton", "met_bar"]))]
    return items
