"""What a clinic keeps of an invented wearer after dispensing: the wearing-in plan, reviews and rechecks."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from numpy.random import Generator

from app.bench.rules.machine import Asked
from app.demo.ledger import Ledger
from app.demo.rows import Row
from app.demo.wearers import weighed
from app.fitting.rules.plan import high_risk, recheck_kind
from app.orders.rules import is_child
from app.trade import wearing

SKIN = {"clear": 0.8, "mark_gone": 0.15, "callus": 0.05}
WELL = {"comfort": (6, 11), "pain": (0, 4), "pain_relief": (4, 11)}
BADLY = {"comfort": (2, 7), "pain": (2, 7), "pain_relief": (0, 6)}
"""From, and up to before: what is told where a pair is settled, and where it is to be adjusted. Relief in tens."""
FULL_HOURS = {8.0: 0.7, 7.0: 0.15, 6.0: 0.1, 10.0: 0.05}
"""Hours a day that were reached, and by what share; all of these are invented."""
ADJUSTED = {
    ("medial_arch", "lowered"): 0.3,
    ("heel_cup", "heated"): 0.2,
    ("medial_edge", "smoothed"): 0.16,
    ("pad", "moved"): 0.13,
    ("rearfoot_post", "lowered"): 0.1,
    ("cover", "glued"): 0.07,
    ("forefoot_edge", "smoothed"): 0.04,
}
"""Zone and what is done there at a review, and by what share; invented."""


class Aftercare:
    """Follows one pair's moves. `until` is today: rechecks that were due before were held."""

    def __init__(self, ledger: Ledger, rng: Generator, until: date) -> None:
        self.ledger, self.rng, self.until = ledger, rng, until
        self.risks = ledger.drawn.wearer.risks
        self.plan: Row | None = None
        self.review: Row | None = None
        self.reviews = 0
        self.has_rechecks = False

    def follow(self, asked: Asked, move_id: int, at: datetime) -> None:
        """To be told of every act after it was written."""
        worn = self.ledger.state.stage == "wear_in"
        day = at.astimezone(ZoneInfo(self.ledger.house.zone)).date()
        if self.review is not None:
            self._hold(self.review, asked, at)
            self.review = None
        if asked.act == "adjust" and asked.facts["where"] == "here":
            self._adjust(asked, move_id)
        if self.plan is not None and not worn:
            self.plan["ended_at"], self.plan = at, None
        if worn and self.plan is None:
            self._send_home(move_id, day)
        if worn:
            self._next_review(move_id, day)

    def _send_home(self, move_id: int, day: date) -> None:
        rows, plan = self.ledger.rows, wearing.usual("sensation_loss" in self.risks)
        self.plan = rows.add(
            "wearing_plan",
            id=rows.take("wearing_plan"),
            pair_id=self.ledger.pair_id,
            move_id=move_id,
            from_day=day,
            start_minutes=plan.start_minutes,
            step_minutes=plan.step_minutes,
            target_minutes=plan.target_minutes,
            plan=plan.key,
            painful_days=[],
            ended_at=None,
            void=False,
        )
        child = is_child(None, self.ledger.drawn.wearer.born_year, day)
        if (kind := recheck_kind(self.risks, child)) and not self.has_rechecks:
            self.has_rechecks = True
            for due_on in wearing.recheck_days(day, self.ledger.house.calendar):
                self._recheck(move_id, due_on, kind)

    def _recheck(self, move_id: int, due_on: date, kind: str) -> None:
        rows, ledger = self.ledger.rows, self.ledger
        rows.add(
            "recheck",
            id=rows.take("recheck"),
            patient_id=ledger.patient_id,
            pair_id=ledger.pair_id,
            move_id=move_id,
            due_on=due_on,
            kind=kind,
            state="held" if due_on < self.until else "open",
        )

    def _next_review(self, move_id: int, day: date) -> None:
        rows, ledger = self.ledger.rows, self.ledger
        ledger.review_on = wearing.review_day(day, high_risk(self.risks), ledger.house.calendar)
        self.reviews += 1
        self.review = rows.add(
            "review",
            id=rows.take("review"),
            pair_id=ledger.pair_id,
            move_id=move_id,
            number=self.reviews,
            due_on=ledger.review_on,
            appointment=None,
            state="open",
            held_at=None,
            outcome=None,
            hours_reached=None,
            comfort=None,
            pain=None,
            pain_relief=None,
            skin=None,
            note_id=None,
        )

    def _adjust(self, asked: Asked, move_id: int) -> None:
        # Drawn apart, so that all else of the invented lab stays as it was.
        zone, what = weighed(self.rng.spawn(1)[0], ADJUSTED)
        rows = self.ledger.rows
        for side in asked.sides or "":
            rows.add(
                "adjustment",
                id=rows.take("adjustment"),
                pair_id=self.ledger.pair_id,
                move_id=move_id,
                side=side,
                zone=zone,
                what=what,
                note_id=None,
            )

    def _hold(self, review: Row, asked: Asked, at: datetime) -> None:
        """A wearer who is settled tells of more comfort and less pain than one who is not."""
        told = {
            name: int(self.rng.integers(*between))
            for name, between in (WELL if asked.act == "settle" else BADLY).items()
        }
        told["pain_relief"] *= 10
        outcome = f"adjust_{asked.facts['where']}" if asked.act == "adjust" else asked.act
        hours = weighed(self.rng, FULL_HOURS)
        review |= {"state": "held", "held_at": at, "outcome": outcome, "hours_reached": hours}
        review |= told | {"skin": weighed(self.rng, SKIN)}
