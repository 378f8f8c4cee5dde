"""The demo's clock is put a day on by one act, and only there."""

from datetime import timedelta

from fastapi import FastAPI

from app import clock
from app.database import Database
from app.demo.actions import open_lab, wind_demo_clock
from app.settings import Settings
from tests.people.conftest import visitor


def test_a_day_passes_for_everyone_and_nobody_is_signed_out(
    bare_app: FastAPI, database: Database, settings: Settings
) -> None:
    with database.writing() as db:
        open_lab(db)
    client = visitor(bare_app, "127.0.0.1")
    client.post("/demo/sign-in", data={"role": "technician"})
    before = clock.now()
    for _ in range(3):
        assert client.post("/demo/next-day").status_code == 303
    assert timedelta(days=3) <= clock.now() - before < timedelta(days=3, minutes=1)
    assert client.get("/").status_code == 200
    clock.set_shift(timedelta())
    wind_demo_clock(settings.data)
    assert clock.shift() == timedelta(days=3)


def test_a_real_lab_s_clock_is_nobody_s_to_move(bare_app: FastAPI, database: Database) -> None:
    assert visitor(bare_app, "127.0.0.1").post("/demo/next-day").status_code == 404
    assert clock.shift() == timedelta()
