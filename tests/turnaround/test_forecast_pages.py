"""What people do with forecasts: a manager looks who will be late and tries what would help, a clinician asks what can
be promised, the lab promises it at check-in. The worker makes them; pages read what it made."""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from fastapi import FastAPI
from python_calamine import CalamineWorkbook
from sqlmodel import col, select

from app import clock
from app.bench import actions as bench
from app.bench.actions import setting_up
from app.bench.pages import stored
from app.bench.queries import bench_settings
from app.bench.rules.machine import Asked
from app.bench.tables import Pair, Visit
from app.database import Database
from app.demo import volume
from app.demo.actions import open_lab
from app.exchange.actions import workers
from app.main import build
from app.outbox import Outbox
from app.people import actions as people
from app.settings import Settings
from app.turnaround.queries import forecast, known, snapshot
from app.turnaround.tables import PairForecast
from tests.house import House, browser, demo_house, program

AN_AFTERNOON = datetime(2026, 11, 26, 15, 20, tzinfo=UTC)


class Story(NamedTuple):
    """A lab with four months behind it, whose worker has looked ahead once."""

    app: FastAPI
    house: House
    database: Database

    def sees(self, who: str, path: str) -> str:
        answer = browser(self.app, self.house.people[who]).get(path)
        assert answer.status_code == 200, answer.text
        return words(answer.text)

    def reads(self, who: str, path: str) -> Any:
        answer = program(self.app, self.house.people[who]).get(f"/api/v1{path}")
        assert answer.status_code == 200, answer.text
        return answer.json()

    def pair(self, *stages: str) -> Pair:
        """The first pair that stands at one of these."""
        with self.database.reading() as db:
            on = select(Pair).join(Visit, col(Visit.id) == col(Pair.visit_id)).where(col(Visit.reason) == "new")
            return db.exec(on.where(col(Pair.stage).in_(stages)).order_by(col(Pair.code)).limit(1)).one()


def words(html: str) -> str:
    """As it is read: without tags, spaces as one."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).replace("&nbsp;", " ").replace("\u00a0", " ").split())


def shown(day: str) -> str:
    """2026-12-04 as a page writes it."""
    on = date.fromisoformat(day)
    return f"{on:%a} {on.day} {on:%b}"


@pytest.fixture(scope="module")
def told(copies: Callable[[Path], Any], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Story]:
    folder = tmp_path_factory.mktemp("forecasts")
    with copies(folder) as copy:
        database = Database(url := copy())
        clock.set_shift(AN_AFTERNOON - clock.now())
        with database.writing() as db:
            open_lab(db)
        volume.seed(database, pairs=420, years=0.33, seed=7)
        settings = Settings(data=folder, database_url=url)
        (worker,) = workers(database, settings)
        worker.tick()  # puts the look ahead into the outbox
        worker.tick()
        with database.reading() as db:
            assert db.exec(select(Outbox.failed).where(col(Outbox.failed).is_not(None))).all() == []
        app = build(settings)
        yield Story(app, demo_house(database), database)
        app.state.database.close()
        database.close()


@pytest.fixture
def story(told: Story) -> Story:
    clock.set_shift(AN_AFTERNOON - (clock.now() - clock.shift()))
    return told


def test_a_manager_sees_every_open_pair_the_least_likely_to_keep_its_promise_first(story: Story) -> None:
    page, read = story.sees("manager", "/turnaround/late"), story.reads("manager", "/forecasts?limit=200")
    on_their_way = ("dispense", "wear_in")
    with story.database.reading() as db:
        query = select(Pair.code).where(col(Pair.stage).is_not(None), col(Pair.stage).not_in(on_their_way))
        assert {each["code"] for each in read["items"]} == set(db.exec(query).all())
    chances = [each["chance"] for each in read["items"] if each["chance"] is not None]
    assert chances == sorted(chances)
    assert chances[0] < 85
    places = [page.index(f"{each['code']} ") for each in read["items"] if each["chance"] is not None]
    assert places == sorted(places)
    first = read["items"][0]
    for part in ("half_on", "likely_on", "nearly_on"):
        assert shown(first[part]) in page
    assert first["half_on"] <= first["likely_on"] <= first["nearly_on"]
    assert "Made Thu 26 Nov 15:2" in page


def test_all_of_them_stand_in_a_workbook(story: Story) -> None:
    answer = browser(story.app, story.house.people["manager"]).get("/turnaround/late.xlsx")
    sheet: Any = (
        CalamineWorkbook.from_filelike(BytesIO(answer.content)).get_sheet_by_name("Every open pair").to_python()
    )
    read = story.reads("manager", "/forecasts?limit=200")["items"]
    assert [row[0] for row in sheet[1:]] == [each["code"] for each in read]
    likely, chance = sheet[0].index("There by, 85 %"), sheet[0].index("Chance of its promise")
    assert [row[likely].isoformat() for row in sheet[1:]] == [each["likely_on"] for each in read]
    told = [None if each["chance"] is None else each["chance"] / 100 for each in read]
    assert [row[chance] if row[chance] != "" else None for row in sheet[1:]] == told


def test_a_program_reads_the_forecasts_a_page_at_a_time(story: Story) -> None:
    whole = [each["code"] for each in story.reads("manager", "/forecasts?limit=200")["items"]]
    found, after = [], ""
    while True:
        part = story.reads("manager", f"/forecasts?limit=8&after={after}")
        found += [each["code"] for each in part["items"]]
        if not part["next"]:
            break
        after = part["next"]
    assert found == whole
    assert len(whole) > 8


def test_what_moving_a_pair_forward_does_is_shown_beside_how_it_is(story: Story) -> None:
    pair = story.pair("check_in", "pour", "correct")
    page = story.sees("manager", f"/turnaround/late/{pair.code}")
    assert "As it is If it went first" in page
    assert "There by, with 85 %" in page
    assert "others comes noticeably later" in page or "come later, by" in page or "comes later, by" in page
    client = browser(story.app, story.house.people["manager"])
    there = story.pair("dispense", "wear_in")
    assert client.get(f"/turnaround/late/{there.code}").status_code == 404


def test_what_if_shows_its_answer_beside_how_it_is_and_a_wrong_figure_at_its_field(story: Story) -> None:
    as_it_is = story.sees("manager", "/turnaround/what-if")
    assert "keep their day. Fill in below what is to be tried." in as_it_is
    tried = story.sees("manager", "/turnaround/what-if?away.cover=4&days=10&rush=40&way=cast")
    (found,) = re.findall(r"next 20 working days, (\d+) keep their day as tried, (\d+) as it is", tried)
    kept, was = map(int, found)
    assert kept < was
    assert "More is promised than can be done" in tried
    assert "to be made anew" in tried
    answer = browser(story.app, story.house.people["manager"]).get("/turnaround/what-if?rush=many&more.press=1")
    assert answer.status_code == 422
    assert "Rush pairs: a whole number from 0 to 500; &#39;many&#39; is not." in answer.text
    assert 'value="1"' in answer.text


def test_an_order_form_says_what_can_be_promised_and_the_odds_of_a_tighter_wish(story: Story) -> None:
    clinic = story.house.clinics["house"]
    read = story.reads("clinician", f"/promise?clinic_id={clinic}&way=cast")
    assert f"At the clinic by {shown(read['day'])} in 85 of a hundred cases" in story.sees("clinician", "/orders/new")
    client = browser(story.app, story.house.people["clinician"])
    form = {"clinic_id": str(clinic), "way": "cast", "wanted_on": "2026-12-01"}
    typed = words(client.post("/orders/checks", data=form).text)
    odds = story.reads("clinician", f"/promise?clinic_id={clinic}&way=cast&wanted_on=2026-12-01")["odds"]
    assert 0 < odds < 85
    assert f"Wanted for Tue 1 Dec: it is at the clinic by then in {odds} of a hundred cases." in typed
    late = words(client.post("/orders/checks", data=form | {"wanted_on": "2027-02-01"}).text)
    assert "in 100 of a hundred cases, so that day is promised" in late
    assert client.get(f"/api/v1/promise?clinic_id={story.house.clinics['quay']}").status_code in (401, 403, 404)


def test_a_lab_that_wants_to_be_surer_promises_a_later_day(story: Story) -> None:
    path = f"/promise?clinic_id={story.house.clinics['house']}&way=cast"
    usual = story.reads("clinician", path)
    with story.database.writing() as db:
        people.change_limits(db, by=story.house.viewer("manager"), limits={"promise_certainty": 98})
    surer = story.reads("clinician", path)
    with story.database.writing() as db:
        people.change_limits(db, by=story.house.viewer("manager"), limits={"promise_certainty": None})
    assert (usual["certainty"], surer["certainty"]) == (85, 98)
    assert surer["day"] > usual["day"]


def test_at_check_in_the_lab_promises_what_it_can_keep_and_standard_days_once_the_forecast_is_old(story: Story) -> None:
    soon = "2026-11-27"
    house, technician = story.house, story.house.viewer("technician")
    clinic = house.clinics["house"]
    path = f"/promise?clinic_id={clinic}&way=cast&start=check_in&wanted_on={soon}"
    read = story.reads("clinician", path)
    client = browser(story.app, house.people["clinician"])
    form = {
        "label": "MR 7001",
        "way": "cast",
        "sides": "L",
        "capture.L": "foam",
        "L.shell": "polypropylene",
        "L.shell_thickness": "4",
        "clinic_id": str(clinic),
        "prescriber_id": str(house.people["clinician"]),
        "wanted_on": soon,
    }
    code = client.post("/orders/new", data=form).headers["location"].split("/")[-1]
    checked_in = story.sees("technician", f"/pair/{code}?arrived=yes")
    assert f"Wanted for {shown(soon)}: it is at the clinic by then in {read['odds']} of a hundred cases." in checked_in
    answer = browser(story.app, house.people["technician"]).post(
        f"/pair/{code}/acts", data={"act": "advance", "from_stage": "check_in"}
    )
    assert answer.status_code == 303
    assert story.reads("technician", f"/pairs/{code}")["promised_on"] == read["day"]

    code = client.post("/orders/new", data=form | {"label": "MR 7002"}).headers["location"].split("/")[-1]
    clock.set_shift(clock.shift() + timedelta(days=4))
    later = story.reads("clinician", path)
    assert later["made_at"] is None
    assert later["day"] > read["day"]
    assert "no newer ones have been made since" in story.sees("manager", "/turnaround/late")
    with story.database.writing() as db:
        bench.check_in(db, code=code, asked=Asked("advance", "check_in"), by=technician)
    assert story.reads("technician", f"/pairs/{code}")["promised_on"] == later["day"]


def test_a_desk_lists_what_will_be_late_of_the_lab_and_of_the_own_clinics(story: Story) -> None:
    with story.database.writing() as db:
        risky = [row for row in forecast.listed(db, None, most=400) if not row.standard and row.promised_on]
        for row in risky[:2]:
            db.exec(select(PairForecast).join(Pair).where(col(Pair.code) == row.code)).one().chance = 7
    mine = {row.code for row in risky[:2]}
    desk = story.sees("manager", "/")
    assert "Will be late, more likely than not" in desk
    assert mine <= set(re.findall(r"\d\d-\d{5}-\w", desk))
    for who, key in (("clinician", "house"), ("quay clinician", "quay")):
        own = {row.code for row in risky[:2] if row.clinic_id == story.house.clinics[key]}
        listed = story.sees(who, "/").split("Will be late, more likely than not")
        found = set(re.findall(r"\d\d-\d{5}-\w", listed[1].split("Forecast")[0])) if len(listed) > 1 else set()
        assert own <= found
        assert not (mine - own) & found


def test_a_bench_s_capacity_is_a_setting_and_what_is_left_empty_is_the_lab_s_own(story: Story) -> None:
    client = browser(story.app, story.house.people["manager"])
    page = client.get("/lab/bench").text
    fields = dict(re.findall(r'name="((?:a_day|people)\.[a-z_]+)"\s+type="text"\s+value="([^"]*)"', page))
    assert set(fields.values()) == {""}
    with story.database.reading() as db:
        before = bench_settings(db)
    form = stored(before) | {"a_day.press": "6.5", "people.press": "2"}
    assert client.post("/lab/bench", data=form).status_code == 303
    wrong = client.post("/lab/bench", data=form | {"people.press": "2.5"})
    assert wrong.status_code == 422
    assert "People: a whole number from 1 to 200 (at once); &#39;2.5&#39; is not." in wrong.text
    with story.database.reading() as db:
        assert (bench_settings(db).a_day, bench_settings(db).people) == ({"press": 6.5}, {"press": 2})
    assert "6.5 a day by 2" in story.sees("manager", "/turnaround/what-if")
    with story.database.writing() as db:
        setting_up.set_up_bench(db, by=story.house.viewer("manager"), settings=before)


def test_of_a_large_lab_some_pairs_say_what_all_would(story: Story, monkeypatch: pytest.MonkeyPatch) -> None:
    with story.database.reading() as db:
        whole = snapshot.snapshot(db).known
        monkeypatch.setattr(known, "MOST", whole.stays)
        part = snapshot.snapshot(db).known
    assert part.stays < 0.7 * whole.stays
    for place in ("pour", "press", "cover"):
        every, some = whole.places[place], part.places[place]
        assert np.median(some.stays) == pytest.approx(np.median(every.stays), rel=0.25)
        assert some.a_day == pytest.approx(every.a_day, rel=0.5)
