"""Tells the demo's stories: every act is the real one, done by whom it belongs to, at its own time before now.

A story is a generator. It yields the instant at which it goes on, and between two of these it acts, in one
transaction. The stories go on side by side in the order of their instants, so codes and moves have the order of time.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime, time, timedelta
from heapq import heapify, heappop, heappush
from typing import Any
from zoneinfo import ZoneInfo

from numpy.random import Generator
from sqlalchemy import func, select
from sqlmodel import Session, col

from app import clock
from app.bench import actions as bench
from app.bench import queries
from app.bench.actions import parcels
from app.bench.rules.machine import Asked, State
from app.bench.rules.materials import NOTED_AT
from app.bench.rules.orders import Wanted
from app.bench.rules.picks import in_use, offers
from app.bench.tables import Pair
from app.capture import actions as capture
from app.capture.rules import CONDITIONS
from app.database import Database
from app.demo import wearers
from app.demo.ledger import SHELVES, TRAYS
from app.demo.walks import CASTS, MINUTES
from app.demo.wearers import Wearer
from app.desks import actions
from app.desks.actions.second import second_pair
from app.fitting.rules.fit import TICKS
from app.orders import queries as orders
from app.orders.actions import note_dues
from app.orders.tables import Patient
from app.people import queries as people
from app.people.queries import ClinicRow
from app.people.rules import Role, Viewer
from app.storage import Storage
from app.trade.worktime import WorkCalendar

Telling = Iterator[datetime]
Story = Callable[["Teller"], Telling]
A_DAY = 400
"""Working minutes on the way, about."""
BEFORE = {"pain": 6, "comfort": 3}
"""What wearers of these stories tell before they have their pair; invented."""
FITS: dict[str, Any] = {"arch": "full", "cover": "ok"} | dict.fromkeys(TICKS, True)


def tell(database: Database, storage: Storage, stories: Sequence[Story], rng: Generator) -> None:
    """Tells all of them up to now; the clock is put to each instant and at the end back to where it was.

    Of two that go on at the same instant the second goes on when the first is done: codes keep the order of time.
    """
    shift = clock.shift()
    with database.reading() as db:
        teller = Teller(db, storage, rng)
    telling = side_by_side(story(teller) for story in stories)
    when = done = next(telling, None)
    try:
        while when is not None:
            clock.set_shift(clock.shift() + (max(when, done or when) - clock.now()))
            with database.writing() as db:
                teller.db = db
                when = next(telling, None)
            done = clock.now()
    finally:
        clock.set_shift(shift)


def side_by_side(stories: Iterable[Telling]) -> Telling:
    """One out of several: it always goes on with the one whose next instant is the earliest."""
    waiting = [(when, place, story) for place, story in enumerate(stories) if (when := next(story, None)) is not None]
    heapify(waiting)
    while waiting:
        when, place, story = heappop(waiting)
        yield when
        if (after := next(story, None)) is not None:
            heappush(waiting, (max(after, when), place, story))


class Teller:
    """What a story is told with: the lab's people, its calendar reckoned back from now, the session of the moment."""

    def __init__(self, db: Session, storage: Storage, rng: Generator) -> None:
        self.db, self.storage, self.rng, self.now = db, storage, rng, clock.now()
        self.calendar = people.work_calendar(db)
        self.zone = ZoneInfo(people.lab(db).zone)
        self.clinics = {clinic.name: clinic for clinic in people.clinics(db)}
        staff = [
            Viewer(row.id, row.name, frozenset(Role(role) for role in row.roles), frozenset(row.clinics), self.zone.key)
            for row in people.staff(db)
        ]
        self.technicians = [each for each in staff if each.roles == {Role.TECHNICIAN}]
        self.manager = next(each for each in staff if each.roles == {Role.MANAGER})
        clinicians = [each for each in staff if each.roles == {Role.CLINICIAN}]
        self.clinicians = {clinic_id: each for each in clinicians for clinic_id in each.clinics}
        self.shelf: dict[str, int] = {}
        """The materials by name."""

    def worked(self, days: float, before: datetime | None = None) -> datetime:
        """The instant since which the lab has worked for so many of its days, up to now or to another instant."""
        return ago(self.calendar, before or self.now, round(days * self.calendar.standard_day_minutes()))

    def on(self, since: datetime, days: float) -> datetime:
        """The instant at which the lab has worked for so many of its days since another."""
        return self.calendar.add_minutes(since, round(days * self.calendar.standard_day_minutes()))

    def days(self, days: int, before: datetime | None = None) -> datetime:
        """A time on the last working day that is so many days or more before now, or before another instant."""
        day = (before or self.now).astimezone(self.zone).date() - timedelta(days=days)
        while not self.calendar.is_working_day(day):
            day -= timedelta(days=1)
        return datetime.combine(day, time(9, 10), self.zone) + timedelta(minutes=int(self.rng.integers(0, 180)))

    def ahead(self, days: int) -> datetime:
        """An appointment on the working day after so many others from tomorrow on; 0 is the next one."""
        tomorrow = self.now.astimezone(self.zone).date() + timedelta(days=1)
        day = self.calendar.add_working_days(tomorrow, days)
        return datetime.combine(day, time(9), self.zone) + timedelta(minutes=15 * int(self.rng.integers(0, 24)))

    def technician(self) -> Viewer:
        return wearers.pick(self.rng, self.technicians)

    def wearer(self, **asked: Any) -> Wearer:
        return wearers.wearer(self.rng, self.now.year, **asked)

    def order(
        self,
        clinic: str,
        way: str = "cast",
        wearer: Wearer | None = None,
        label: str = "",
        brings: tuple[str, ...] = (),
        facts: Mapping[str, dict[str, Any]] = {},
        **more: Any,
    ) -> "ToldPair":
        """An order of now; who wears it and what is asked for is drawn unless it is given.

        `facts` go with its step at a stage, in place of what would be noted there.
        """
        here, whose = self.clinics[clinic], wearer or self.wearer(child=False, risks=())
        number, pair = (self._next(table) for table in (Patient, Pair))
        drawn: dict[str, Any] = {
            "sides": "LR",
            "prescription": wearers.prescription(self.rng, way, "LR"),
            "captures": dict.fromkeys("LR", wearers.pick(self.rng, CASTS) if way == "cast" else "scan"),
            "shoe": wearers.shoe(self.rng, whose),
            "feet": whose.feet(more.get("sides", "LR")),
        }
        wanted = Wanted(
            clinic_id=here.id,
            label=label or whose.label(1000 + number),
            way=way,
            prescriber_id=self.clinicians[here.id].staff_id,
            wearer=whose.facts(),
            tray=1 + pair % TRAYS,
            **drawn | more,
        )
        placed = bench.place(self.db, by=self.clinicians[here.id], wanted=wanted)
        return ToldPair(self, here, placed.code, placed.order_id, wanted.label, brings, facts)

    def second(self, pair: "ToldPair", **items: Any) -> "ToldPair":
        """A second pair for this wearer, from the captures of the first; `items` are what differs on both sides."""
        first, patient = orders.order_and_patient(self.db, pair.order_id)
        body = {side: was | items for side, was in orders.holding(self.db, first.id).body.items()}
        wanted = Wanted(
            clinic_id=first.clinic_id,
            label=patient.label,
            way=first.way,
            sides=first.sides,
            prescription=body,
            captures={},
            prescriber_id=first.prescriber_id,
            shoe=first.shoe,
            feet=first.feet,
            repeats=pair.code,
            tray=1 + self._next(Pair) % TRAYS,
        )
        placed = second_pair(self.db, by=pair.clinician, wanted=wanted, same=pair.code, answers=None)
        return ToldPair(self, pair.clinic, placed.code, placed.order_id, pair.label, (), {})

    def _next(self, table: type[Patient | Pair]) -> int:
        return int(self.db.execute(select(func.coalesce(func.max(col(table.id)), 0))).scalar_one()) + 1

    def arrive(self, kind: str, sides: str, label: str, clinic: str = "", **more: Any) -> int:
        """Something has come into the lab; returns the arrival's number."""
        clinic_id = self.clinics[clinic].id if clinic else None
        more |= {"clinic_id": clinic_id, "shelf": f"A{int(self.rng.integers(1, SHELVES))}"}
        by = self.technician()
        return capture.log_arrival(self.db, by=by, kind=kind, sides=sides, label=label, **more).id

    def send(self, *pairs: "ToldPair", carrier: str = "Bay Couriers", tracking: str = "") -> int:
        """One parcel to the clinic of these pairs, or from there back to the lab; returns its number."""
        clinic, back = pairs[0].clinic, pairs[0].state.stage == "return"
        sent = parcels.send(
            self.db,
            by=self.clinicians[clinic.id] if back else self.technician(),
            clinic_id=clinic.id,
            codes=[pair.code for pair in pairs],
            to_clinic=not back,
            carrier=carrier,
            tracking=tracking or f"BC {int(self.rng.integers(10_000, 99_999))}",
        )
        for pair in pairs:
            pair.parcel = sent.id
        return sent.id


def ago(calendar: WorkCalendar, now: datetime, minutes: int) -> datetime:
    """The instant since which the lab has worked for so many minutes."""
    far = now - timedelta(days=30)
    while (worked := calendar.minutes_between(far, now)) < minutes:
        far -= timedelta(days=30)
    return calendar.add_minutes(far, worked - minutes)


class ToldPair:
    """A pair that a story is about."""

    def __init__(
        self,
        teller: Teller,
        clinic: ClinicRow,
        code: str,
        order_id: int,
        label: str,
        brings: tuple[str, ...],
        facts: Mapping[str, dict[str, Any]],
    ) -> None:
        self.teller, self.clinic, self.code, self.label = teller, clinic, code, label
        self.order_id, self.brings, self.facts = order_id, brings, facts
        self.clinician = teller.clinicians[clinic.id]
        self.parcel: int | None = None
        """The last one that it travelled in."""

    @property
    def state(self) -> State:
        return queries.find(self.teller.db, self.code, self.teller.manager).state

    def act(self, act: str, by: Viewer | None = None, **more: Any) -> None:
        """Does it where the pair stands now; by its clinician, unless someone else is named."""
        asked = Asked(act, self.state.stage, **more)
        actions.do(self.teller.db, code=self.code, asked=asked, by=by or self.clinician)

    def bench(self, act: str, **more: Any) -> None:
        """The same by a technician."""
        self.act(act, by=self.teller.technician(), **more)

    def walk(self, stage: str, until: datetime) -> Telling:
        """Goes on step by step to `stage`, which it reaches at `until`; each step takes a share of the time between."""
        route, calendar, since = self.state.route, self.teller.calendar, clock.now()
        stages = route[route.index(str(self.state.stage)) : route.index(stage)]
        shares = [MINUTES.get(each, A_DAY) * float(self.teller.rng.lognormal(0, 0.4)) for each in stages]
        minutes = calendar.minutes_between(since, until)
        for number in range(1, len(stages)):
            share = sum(shares[:number]) / sum(shares)
            yield calendar.add_minutes(since, max(1, round(minutes * share)))
            self.step()
        yield until
        self.step()

    def step(self) -> None:
        """What comes next is done by whom it belongs to."""
        stage, teller = self.state.stage, self.teller
        if stage in ("send", "return"):
            teller.send(self)
        elif stage == "receive" and self.parcel is not None:
            parcels.receive(teller.db, by=self.clinician, parcel_id=self.parcel, exceptions={})
        elif stage == "check_in":
            box = {"shelf": f"C{self.order_id % SHELVES + 1}", "conditions": list(CONDITIONS)}
            self.bench("advance", facts=box | {"belongings": list(self.brings)})
        elif stage == "dispense":
            fit = {"read_back": True} | {side: dict(FITS) for side in "LR"}
            first = {"before": BEFORE} if self.state.reason in ("new", "remake") else {}
            told = first | self.facts.get("dispense", {})
            self.act("dispense", facts={"confirmed": "LR", "fit": fit} | told)
        else:
            facts = self.facts.get(str(stage)) or self._lots(str(stage))
            self.act("advance", by=teller.technician() if self.state.place == "lab" else None, facts=facts)

    def _lots(self, stage: str) -> dict[str, Any]:
        """The lots that the work of this stage is made from: of each the one in use, else the first to be picked."""
        if stage not in NOTED_AT:
            return {}
        body, today = orders.holding(self.teller.db, self.order_id).body, clock.today(self.teller.zone.key)
        used = in_use(queries.in_use(self.teller.db), stage, body, self.state.working, today)
        found = offers(queries.to_pick(self.teller.db), used, stage, body, self.state.working, today)
        return {"lots": [offer.lots[0].id for offer in found]} if found else {}

    def amend(self, words: str, **items: Any) -> None:
        """The clinician changes these items of both sides."""
        body = {side: was | items for side, was in orders.holding(self.teller.db, self.order_id).body.items()}
        bench.amend(self.teller.db, code=self.code, by=self.clinician, body=body, words=words)

    def owes(self, **dues: str) -> None:
        """How approval and payment stand, noted by the clinician."""
        note_dues(self.teller.db, by=self.clinician, order_id=self.order_id, raw=dues)

    def match(self, arrival: int, sides: str = "LR") -> None:
        by = self.teller.technician()
        capture.match_arrival(self.teller.db, by=by, arrival_id=arrival, order_id=self.order_id, sides=sides)
