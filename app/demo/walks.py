"""How an invented pair comes through lab and clinic: each walks the real machine, act by act, at believable times."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from numpy.random import Generator

from app.bench.rules.acts import SEND_BACK_REASONS
from app.bench.rules.machine import Asked, decide
from app.bench.rules.stages import STAGES
from app.demo import wearers
from app.demo.aftercare import Aftercare
from app.demo.ledger import Drawn, Ledger
from app.demo.rows import House, Rows
from app.demo.wearers import pick, weighed
from app.fitting.rules.plan import high_risk
from app.people.queries import ClinicRow
from app.trade import wearing

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
QUESTIONS = {
    "check_in": ("Ordered as a cast, and the box holds foam. Which is meant?", "The foam."),
    "prepare": ("The scan ends before the heel does. Is there another?", "No; keep the heel cup low."),
    "pour": ("Both casts are marked left. Which is which?", "The one with the blue band is the right."),
    "carve": ("Is the arch to be carved as high as it was scanned?", "Yes."),
    "correct": ("How much fill under an arch this high?", "Standard; leave the navicular free."),
    "press": ("Is the shell to stop short of the fifth metatarsal?", "Yes, by 5 mm."),
    "mill": ("A narrow shell for a wide shoe: is that meant?", "Yes, the other shoe is narrow."),
    "grind": ("The rearfoot post lifts the heel out of the shoe. Lower it?", "Yes, by 1 mm."),
    "cover": ("Does the pad go under the cover or on top?", "Under the cover."),
    "trim": ("The shoe's liner does not come out. Cover to the toes all the same?", "To the sulcus, then."),
    "inspect": ("The left sits 2 mm higher than the right. Is that meant?", "Yes, that leg is shorter."),
    "send": ("Is the old pair to travel with the new one?", "Yes, please."),
}
"""What the bench asks at a stage, and what the clinic answers."""
WAYS = {"cast": 0.7, "carved": 0.15, "direct": 0.15}
SIDES = {"LR": 0.94, "L": 0.03, "R": 0.03}
CASTS = ("slipper_plaster", "slipper_fibreglass", "foam")
BROUGHT = {(): 0.7, ("shoes",): 0.12, ("liners",): 0.1, ("old_pair",): 0.05, ("shoes", "liners"): 0.03}
DAYS_LATE = (0, 0, 0, 1, 3, 8)
"""Of a review; which share of what is all invented."""
PACE = 0.4
"""How much quicker or slower a whole pair goes than others: some get behind at every bench."""
STANDS = {"question": 300, "reason": 1500}
"""Median working minutes until a clinic has answered, and until what was missing is there."""


def draw(house: House, rng: Generator, at: datetime) -> Drawn:
    """Who orders what at `at`."""
    clinic = _clinic(house, rng)
    way = weighed(rng, WAYS)
    sides = weighed(rng, SIDES)
    wearer = wearers.wearer(rng, at.year)
    wanted = at.date() + timedelta(days=int(rng.integers(7, 25))) if rng.random() < 0.6 else None
    return Drawn(
        clinic=clinic,
        wearer=wearer,
        way=way,
        sides=sides,
        body=wearers.prescription(rng, way, sides),
        shoe=wearers.shoe(rng, wearer),
        capture="scan" if way != "cast" else pick(rng, CASTS),
        wanted_on=wanted,
        rush="Travels soon." if rng.random() < 0.06 else "",
        brought=weighed(rng, BROUGHT),
    )


def _clinic(house: House, rng: Generator) -> ClinicRow:
    """The first has the most pairs, each further one fewer."""
    many = len(house.clinics)
    shares = {place: (many - place) * 2 / (many * (many + 1)) for place in range(many)}
    return house.clinics[weighed(rng, shares)]


class Walker:
    """One pair on its way: draws how long each stage takes and what goes wrong, and has each act written down."""

    def __init__(self, house: House, rng: Generator, rows: Rows, code: str, ordered_at: datetime) -> None:
        self.house, self.rng, self.code = house, rng, code
        self.pace = float(rng.lognormal(0, PACE))
        self.drawn = draw(house, rng, ordered_at)
        self.everyone = house.anyone(self.drawn.clinic.id)
        self.ledger = Ledger(house, rows, code, self.drawn, ordered_at)

    def walk(self, until: datetime) -> Ledger:
        """Goes on act by act until the pair has ended or the next act would come after `until`."""
        today = until.astimezone(ZoneInfo(self.house.zone)).date()
        self.aftercare = Aftercare(self.ledger, self.rng, today)
        for act, when in self._acts():
            if when > until:
                break
            self._do(act, when)
            if self.ledger.state.end:
                break
        self.ledger.finish()
        return self.ledger

    def _do(self, asked: Asked, when: datetime) -> None:
        ledger = self.ledger
        outcome = decide(ledger.state, asked, self.everyone)
        if asked.from_stage == "check_in" and asked.act == "advance":
            ledger.check_in(when)
        by_clinic = ledger.state.place != "lab" or asked.act in ("answer", "withdraw")
        move_id = ledger.write(asked, outcome, ledger.clinician if by_clinic else self._technician(), when)
        if asked.act == "adjust" and outcome.new_visit:
            ledger.promised = None  # the lab promises it anew
        self.aftercare.follow(asked, move_id, when)

    def _technician(self) -> int:
        return pick(self.rng, self.house.technicians)

    def _acts(self) -> Iterator[tuple[Asked, datetime]]:
        """What is done next and when, drawn from the state as it is: the generator looks again after each act."""
        while (stage := self.ledger.state.stage) is not None:
            if self.ledger.state.holds:
                yield self._on_again(stage), self._working(STANDS[self.ledger.state.holds[0].kind])
            elif STAGES[stage].bench and (stop := self._stop(stage)):
                yield stop, self._working(60)
            elif back := self._back(stage):
                yield back, self._after(stage)
            elif stage == "wear_in":
                yield self._review(), self._review_at()
            elif stage != "receive" and self.rng.random() < 0.004:
                facts = {"code": self.code}
                yield Asked("withdraw", stage, reason="The wearer moves away.", facts=facts), self._working(120)
            else:
                yield Asked("dispense" if stage == "dispense" else "advance", stage), self._after(stage)

    def _on_again(self, stage: str) -> Asked:
        if self.ledger.state.holds[0].kind == "question":
            return Asked("answer", stage, reason=QUESTIONS[stage][1])
        return Asked("resume", stage)

    def _stop(self, stage: str) -> Asked | None:
        drawn = self.rng.random()
        if drawn < 0.035:
            return Asked("ask", stage, reason=QUESTIONS[stage][0], waiting_on="clinic")
        if drawn < 0.05:
            return Asked("park", stage, reason="material", waiting_on="supplier")
        return None

    def _back(self, stage: str) -> Asked | None:
        state = self.ledger.state
        together = len(state.working) == len(state.all_sides)
        if BACK.get(stage) not in state.route or not together or self.rng.random() >= 0.03:
            return None
        reason = pick(self.rng, list(SEND_BACK_REASONS)[:8])
        return Asked("send_back", stage, BACK[stage], pick(self.rng, state.all_sides), reason)

    def _review(self) -> Asked:
        chance, last = self.rng.random(), self.drawn.sides[-1]
        if chance < 0.14:
            return Asked("adjust", "wear_in", sides=last, facts={"where": "here"})
        if chance < 0.18:
            return Asked("adjust", "wear_in", sides=last, facts={"where": "lab", "stages": ["cover"]})
        return Asked("settle", "wear_in")

    def _review_at(self) -> datetime:
        calendar, zone = self.house.calendar, ZoneInfo(self.house.zone)
        worn_since = self.ledger.at.astimezone(zone).date()
        due = wearing.review_day(worn_since, high_risk(self.drawn.wearer.risks), calendar)
        day = calendar.next_working_day(due + timedelta(days=pick(self.rng, DAYS_LATE)))
        minutes = int(self.rng.integers(0, 420))
        return datetime.combine(day, time(9), zone) + timedelta(minutes=minutes)

    def _after(self, stage: str) -> datetime:
        if STAGES[stage].bench:
            return self._working(MINUTES[stage] * self.pace * (0.5 if self.drawn.rush else 1))
        days = DAYS[stage] * float(self.rng.lognormal(0, 0.5))
        return self.house.calendar.add_minutes(self.ledger.at + timedelta(days=days), 1)

    def _working(self, median: float) -> datetime:
        minutes = max(1, round(median * float(self.rng.lognormal(0, 0.6))))
        return self.house.calendar.add_minutes(self.ledger.at, minutes)
