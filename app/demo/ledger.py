"""One invented pair's rows: order, moves, holds, stays, visits and the pair as it stands in the end.

Whose acts are real writes the same rows one by one: app/bench/actions/moving.py. What the clinic keeps of a wearer
after dispensing is aftercare.py's.
"""

import hashlib
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from app.bench.rules import record
from app.bench.rules.machine import Asked, Hold, Outcome, State
from app.bench.rules.stages import STANDARD_DAYS, Terms, new_route, place_of
from app.demo.rows import House, Row, Rows
from app.demo.wearers import Wearer
from app.orders.rules import Body
from app.people.queries import ClinicRow
from app.trade import codes

FAR = date.max
TRAYS, SHELVES = 400, 9


@dataclass(frozen=True)
class Drawn:
    """An order as the dice made it."""

    clinic: ClinicRow
    wearer: Wearer
    way: str
    sides: str
    body: Body
    shoe: dict[str, Any]
    capture: str
    wanted_on: date | None
    rush: str
    """Why it is one; empty if it is none."""
    brought: tuple[str, ...]
    """Belongings that come in the box."""


class Ledger:
    """Writes down one act after the other; `state` and `at` are those after the last."""

    def __init__(self, house: House, rows: Rows, code: str, drawn: Drawn, at: datetime) -> None:
        self.house, self.rows, self.drawn, self.at = house, rows, drawn, at
        self.clinician = house.clinicians[drawn.clinic.id]
        terms = Terms(house.stages_on, drawn.clinic.by_parcel, drawn.clinic.trims)
        route = new_route(drawn.way, terms)
        self.state = State(code, {}, drawn.sides, route, terms)
        self.since: dict[str, datetime] = {}
        self.stage_since = at
        self.parked_since: datetime | None = None
        self.promised: date | None = None
        self.review_on: date | None = None
        self.visits: list[Row] = []
        self.held: dict[int, Row] = {}
        """Open holds by number."""
        self.belongings: list[Row] = []
        self.patient_id, self.order_id, self.pair_id = (rows.take(name) for name in ("patient", "orders", "pair"))
        self._order()
        self._visit("new")
        after = replace(self.state, sides=dict.fromkeys(drawn.sides, route[0]), version=1)
        ordered = Outcome(after, drawn.sides, route[0])
        self.write(Asked("order", None), ordered, self.clinician, at, {"route": list(route)})

    def _order(self) -> None:
        """The wearer and what is asked for them; the pair's own row is written at the end."""
        drawn, take = self.drawn, self.rows.take
        self.label = drawn.wearer.label(1000 + self.patient_id)
        self.rows.add(
            "patient",
            id=self.patient_id,
            clinic_id=drawn.clinic.id,
            label=self.label,
            label_key=codes.normalise(self.label),
            born_on=None,
            **drawn.wearer.facts(),
        )
        self.rows.add(
            "orders",
            id=self.order_id,
            patient_id=self.patient_id,
            clinic_id=drawn.clinic.id,
            prescriber_id=self.clinician,
            typed_by=self.clinician,
            ordered_at=self.at,
            way=drawn.way,
            sides=drawn.sides,
            wanted_on=drawn.wanted_on,
            rush_note_id=self._note(drawn.rush)[0] if drawn.rush else None,
            ulcer_note_id=None,
            shoe=drawn.shoe,
            feet=drawn.wearer.feet(drawn.sides),
            dues={},
        )
        self.rows.add(
            "prescription",
            id=take("prescription"),
            order_id=self.order_id,
            number=1,
            body=drawn.body,
            stage_notes={},
            made_by=self.clinician,
            made_at=self.at,
        )
        self.captures = [self._capture(side) for side in drawn.sides]

    def _capture(self, side: str) -> Row:
        capture = self.rows.add(
            "capture",
            id=self.rows.take("capture"),
            patient_id=self.patient_id,
            side=side,
            kind=self.drawn.capture,
            state="expected",
            captured_on=None,
            expected_at=self.at,
            arrived_at=None,
            shelf="",
            conditions={},
            void_reason=None,
            file_key=None,
        )
        where = {"order_id": self.order_id, "side": side}
        self.rows.add("worked_from", **where, capture_id=capture["id"], positive_id=None)
        return capture

    def _note(self, words: str) -> tuple[int, str]:
        """Number and digest. Invented words need no salt of their own; the form of the row is the real one."""
        number, digest = self.rows.take("note"), hashlib.sha256(f"demo{words}".encode()).hexdigest()
        self.rows.add(
            "note", id=number, at=self.at, patient_id=self.patient_id, words=words, salt="demo", digest=digest
        )
        return number, digest

    def _visit(self, reason: str) -> None:
        terms = self.state.terms
        self.visits.append(
            {
                "id": self.rows.take("visit"),
                "pair_id": self.pair_id,
                "number": len(self.visits) + 1,
                "reason": reason,
                "way": self.drawn.way,
                "route": list(self.state.route),
                "stages_on": sorted(terms.stages_on),
                "by_parcel": terms.by_parcel,
                "trims_at_clinic": terms.trims_at_clinic,
                "started_at": self.at,
                "ended_at": None,
                "end": None,
                "promised_on": None,
            }
        )

    def check_in(self, at: datetime) -> None:
        """Beside its move: the captures are accepted, what came with them is noted, the lab promises its day."""
        calendar, clinic = self.house.calendar, self.drawn.clinic
        shelf = f"C{1 + self.pair_id % SHELVES}"
        for capture in self.captures:
            capture.update(state="accepted", arrived_at=capture["arrived_at"] or at, shelf=shelf)
        if self.promised is None:
            days = STANDARD_DAYS[self.drawn.way] + (clinic.transit_days if clinic.by_parcel else 0)
            standard = calendar.add_working_days(at.astimezone(ZoneInfo(self.house.zone)).date(), days)
            self.promised = calendar.next_working_day(max(standard, self.drawn.wanted_on or standard))
        for kind in () if self.belongings else self.drawn.brought:
            self.belongings.append(
                self.rows.add(
                    "belonging",
                    id=self.rows.take("belonging"),
                    pair_id=self.pair_id,
                    kind=kind,
                    side="LR",
                    place="lab",
                    becomes="back",
                    settled_at=None,
                    settled_by=None,
                    shelf=None,
                )
            )

    def write(
        self, asked: Asked, outcome: Outcome, staff: int, at: datetime, extra: dict[str, Any] | None = None
    ) -> int:
        """One move with what follows from it; returns its number."""
        before, self.at = self.state, at
        move_id = self.rows.take("move")
        self.state = self._numbered(outcome, move_id)
        if outcome.new_visit:
            self.visits[-1] |= {"ended_at": at, "end": outcome.new_visit, "promised_on": self.promised}
            self._visit(outcome.new_visit)
        words = record.words_of(asked)
        note_id, digest = self._note(words) if words else (None, None)
        self.rows.add(
            "move",
            id=move_id,
            pair_id=self.pair_id,
            visit_id=self.visits[-1]["id"],
            note_id=note_id,
            note_digest=digest,
            staff_id=staff,
            at=at,
            done_at=at,
            takes_back=None,
            **record.move_row(before, asked, outcome, extra or {}),
        )
        self._holds(asked, outcome, move_id, note_id)
        self._stays(outcome, move_id)
        self._stand(before)
        return move_id

    def _numbered(self, outcome: Outcome, move_id: int) -> State:
        """The state with the hold that was just opened under its move's number."""
        after = outcome.state
        if not outcome.opens:
            return after
        return replace(after, holds=tuple(replace(hold, id=hold.id or move_id) for hold in after.holds))

    def _holds(self, asked: Asked, outcome: Outcome, move_id: int, note_id: int | None) -> None:
        if outcome.opens:
            row = record.hold_row(self.pair_id, move_id, asked, outcome.opens, note_id, self.at)
            self.held[move_id] = self.rows.add("hold", **row, closed_by=None, closed_at=None, answer_id=None)
        answer_id = note_id if asked.act == "answer" else None
        for number in outcome.closes:
            self.held.pop(number).update(closed_by=move_id, closed_at=self.at, answer_id=answer_id)

    def _stays(self, outcome: Outcome, move_id: int) -> None:
        for each in self.house.counting:
            rows = record.stay_rows(self.pair_id, move_id, outcome.left, self.since, self.at, *each)
            self.rows.of.setdefault("stay", []).extend(rows)

    def _stand(self, before: State) -> None:
        """Since when the pair and its sides stand where they do, and what ends with a visit."""
        after = self.state
        for side in after.all_sides:
            if after.sides.get(side) != before.sides.get(side):
                self.since[side] = self.at
        if after.stage != before.stage:
            self.stage_since = self.at
        self.visits[-1]["route"] = list(after.route)
        if after.end:
            self.visits[-1] |= {"ended_at": self.at, "end": after.end}
        self.parked_since = (self.parked_since or self.at) if after.holds else None
        if after.end or after.stage == "wear_in":
            self._give_back()

    def _give_back(self) -> None:
        """What came with the pair goes home with the wearer, or by the clinic where the order was withdrawn."""
        given = {"place": "wearer", "becomes": "to_wearer", "settled_at": self.at, "settled_by": self.clinician}
        for belonging in self.belongings:
            if belonging["settled_at"] is None:
                belonging.update(given)

    def finish(self) -> None:
        """The pair as it stands, and its visits."""
        state, stage = self.state, self.state.stage
        self.rows.of.setdefault("visit", []).extend(self.visits)
        first: Hold | None = state.holds[0] if state.holds else None
        self.rows.add(
            "pair",
            id=self.pair_id,
            code=state.code,
            order_id=self.order_id,
            clinic_id=self.drawn.clinic.id,
            label=self.label,
            all_sides=state.all_sides,
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
            open_holds=len(state.holds),
            parked_on=first.waiting_on if first else None,
            parked_why=first.kind if first else None,
            parked_since=self.parked_since,
            started_by=None,
            needs=record.needs_at(state, self.drawn.body, self.drawn.wearer.risks),
            wanted_on=self.drawn.wanted_on,
            promised_on=self.promised,
            fitting_at=None,
            due_on=self._due_on(),
            not_before=None,
            rush=bool(self.drawn.rush),
            tray=1 + self.pair_id % TRAYS if stage else None,
            replaces_id=None,
        )

    def _due_on(self) -> date:
        """The day its queue is worked by."""
        worn = self.review_on if self.state.stage == "wear_in" else None
        return worn or self.promised or self.drawn.wanted_on or FAR
