"""Who has no right to a badge's PIN: what the answer gives away, how soon it locks, and what the journal keeps."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from fastapi import FastAPI

from app import clock
from app.database import Database
from app.main import build
from app.people import actions
from app.people.actions import Passwords
from app.people.actions.signing_on import WRONG_PINS, WRONG_PINS_AT_TABLET
from app.people.rules import new_badge
from app.settings import Settings
from tests.house import House
from tests.people.conftest import CHEAP, Browser, Journal, visitor
from tests.people.tablets import PIN, WRONG, Benches, refused, sign_on, token_of


class Counting(Passwords):
    """Cheap ones that count how often something was compared."""

    def __init__(self) -> None:
        super().__init__(passes=1, memory_kib=8, lanes=1)
        self.compared = 0

    def fits(self, stored: str | None, password: str) -> bool:
        self.compared += 1
        return super().fits(stored, password)


@pytest.fixture
def benches(app: FastAPI, house: House) -> Benches:
    return Benches(app, house)


def at(minutes: float) -> None:
    clock.set_shift(timedelta(minutes=minutes))


def test_a_badge_without_its_pin_a_void_and_an_unknown_one_get_the_same_answer_at_the_same_cost(
    benches: Benches, house: House, database: Database, journal: Journal
) -> None:
    stolen, replaced, left, without_pin = (
        benches.badge(),
        benches.badge("practitioner"),
        benches.badge("second technician"),
        "",
    )
    benches.badge("practitioner")
    with database.writing() as db:
        manager = house.viewer("manager")
        actions.end_access(db, by=manager, staff_id=house.people["second technician"])
    tablet = benches.tablet()
    tries = [(stolen, WRONG), (replaced, PIN), (left, PIN), (new_badge(), PIN), (stolen, "no digits")]
    with database.writing() as db:
        actions.clear_pin(db, by=manager, staff_id=house.people["practitioner"])
        without_pin = actions.make_badge(db, by=manager, staff_id=house.people["practitioner"])
    benches.app.state.passwords = counting = Counting()
    answers, costs = set(), set()
    for badge, pin in [*tries, (without_pin, PIN)]:
        before = counting.compared
        answer = sign_on(tablet, badge, pin)
        answers.add((answer.status_code, answer.headers["location"], answer.text))
        costs.add(counting.compared - before)
    assert len(answers) == 1
    assert costs == {1}
    entries = journal("sign_on_refused")
    people = house.people
    assert [(entry.facts["reason"], entry.facts.get("badge_of")) for entry in entries] == [
        ("wrong PIN", people["technician"]),
        ("void badge", people["practitioner"]),
        ("void badge", people["second technician"]),
        ("unknown badge", None),
        ("wrong PIN", people["technician"]),
        ("no PIN chosen", people["practitioner"]),
    ]
    kept = " ".join(str(entry.model_dump()) for entry in entries)
    assert not any(secret in kept for secret in (stolen, WRONG, PIN, "no digits"))
    assert {entry.staff_id for entry in entries} == {None}


def test_five_wrong_pins_at_two_tablets_lock_the_badge_everywhere_for_a_quarter_of_an_hour(
    benches: Benches, settings: Settings, journal: Journal
) -> None:
    badge, other = benches.badge(), benches.badge("second technician")
    another_process = build(settings)
    another_process.state.passwords = CHEAP
    press, grinder, third = benches.tablet(), benches.tablet("Grinder"), benches.tablet("Third")
    elsewhere = visitor(another_process)
    elsewhere.cookies.set("pairtrail-tablet", token_of(grinder, "pairtrail-tablet"), path="/bench")
    for minute, tablet in enumerate((press, elsewhere, press, elsewhere, press)):
        at(3 * minute)
        assert refused(sign_on(tablet, badge, WRONG)) == "fit"
    for minute in (12, 20, 26):
        at(minute)
        assert refused(sign_on(third, badge)) == "wait"
    assert sign_on(third, other).headers["location"] == "/bench", "a colleague's badge is another"
    at(28)
    assert sign_on(third, badge).headers["location"] == "/bench"
    (locked,) = journal("sign_on_locked")
    assert locked.facts == {"locked": "badge", "badge_of": benches.house.people["technician"]}
    assert len(journal("sign_on_refused")) == WRONG_PINS, "what is locked is looked at no more"
    another_process.state.database.close()


def test_an_unknown_badge_locks_like_any_other(benches: Benches) -> None:
    tablet, guess = benches.tablet(), new_badge()
    said = [refused(sign_on(tablet, guess)) for _ in range(WRONG_PINS + 1)]
    assert said == ["fit"] * WRONG_PINS + ["wait"]


def test_five_wrong_pins_in_any_quarter_of_an_hour_count_whenever_it_begins(benches: Benches) -> None:
    tablet, badge = benches.tablet(), benches.badge()
    for minute in (0, 0, 0, 0, 16, 17, 18, 19):
        at(minute)
        assert refused(sign_on(tablet, badge, WRONG)) == "fit", "never five within fifteen minutes"
    at(29)
    assert refused(sign_on(tablet, badge, WRONG)) == "fit"
    assert refused(sign_on(tablet, badge)) == "wait"


def test_a_right_pin_forgets_the_wrong_ones_before_it(benches: Benches) -> None:
    tablet, badge = benches.tablet(), benches.badge()
    for _ in range(3):
        for _ in range(WRONG_PINS - 1):
            assert refused(sign_on(tablet, badge, WRONG)) == "fit"
        assert sign_on(tablet, badge).headers["location"] == "/bench"


def test_twenty_wrong_pins_at_one_tablet_lock_it_for_every_badge_and_right_ones_never_do(
    benches: Benches, journal: Journal
) -> None:
    tablet, other, badge = benches.tablet(), benches.tablet("Grinder"), benches.badge()
    for _ in range(WRONG_PINS_AT_TABLET + 1):
        assert sign_on(tablet, badge).headers["location"] == "/bench"
    for _ in range(WRONG_PINS_AT_TABLET):
        assert refused(sign_on(tablet, new_badge())) == "fit"
    assert refused(sign_on(tablet, badge)) == "wait"
    assert sign_on(other, badge).headers["location"] == "/bench"
    assert [entry.facts["locked"] for entry in journal("sign_on_locked")] == ["tablet"]


def test_guesses_that_come_all_at_once_are_all_counted(benches: Benches, journal: Journal) -> None:
    badge = benches.badge()
    tablets = [benches.tablet(f"Bench {number}") for number in range(3)]
    with ThreadPoolExecutor(6) as pool:
        said = list(pool.map(lambda n: refused(sign_on(tablets[n % 3], badge, WRONG)), range(3 * WRONG_PINS)))
    assert said.count("fit") == WRONG_PINS
    assert said.count("wait") == 2 * WRONG_PINS
    assert len(journal("sign_on_locked")) == 1


def test_a_mistyped_badge_is_told_by_its_last_character_and_counts_for_nothing(
    benches: Benches, journal: Journal, browser: Browser
) -> None:
    tablet, badge = benches.tablet(), benches.badge()
    mistyped = badge[:10] + ("A" if badge[10] != "A" else "B") + badge[11:]
    for _ in range(WRONG_PINS + 1):
        answer = sign_on(tablet, mistyped)
        assert answer.status_code == 422
        assert "misread or mistyped" in answer.text
        assert PIN not in answer.text
    assert sign_on(tablet, badge).headers["location"] == "/bench"
    assert journal("sign_on_refused") == []
