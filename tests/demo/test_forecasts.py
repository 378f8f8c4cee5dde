"""The demo's year, foretold again on each of its Mondays: what the page of trust shows a manager on the first day."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from app import clock
from app.database import Database
from app.demo import volume
from app.demo.actions import open_lab
from app.main import build
from app.settings import Settings
from app.storage import Storage
from app.turnaround import actions
from app.turnaround.queries import forecast
from app.turnaround.rules.forecast.scored import Score
from tests.house import browser, demo_house

A_MORNING = datetime(2026, 11, 26, 10, 20, tzinfo=UTC)


@pytest.mark.anywhere
def test_a_year_of_the_demo_can_be_trusted_and_beats_both_plain_forecasts(
    database: Database, settings: Settings, tmp_path: Path
) -> None:
    clock.set_shift(A_MORNING - clock.now())
    with database.writing() as db:
        open_lab(db)
    volume.fill_demo(database, Storage(tmp_path / "files"))
    tested = None
    while tested is None:
        actions.back_test(database)
        with database.reading() as db:
            tested = forecast.tested(db)
    assert tested.weeks == tested.wanted > 36
    whole, ahead, left = (
        [Score(*row) for row in rows]
        for rows in ([tested.scores["all"]], tested.scores["ahead"], tested.scores["left"])
    )
    assert whole[0].size > 800
    counted = [score for score in whole + ahead + left if score.told]
    assert len(counted) >= 4
    assert {score.key: score.share for score in counted if not 0.8 <= score.share <= 0.9} == {}
    assert all(score.loss < min(score.loss_by_stage, score.loss_fixed) for score in counted)

    app = build(settings)
    shown = browser(app, demo_house(database).people["manager"]).get("/turnaround/trust").text
    app.state.database.close()
    assert f"{whole[0].likely:,} of {whole[0].size:,} forecasts" in shown
    few = next(score for score in ahead if not score.told)
    assert f"too few to say ({few.likely} of {few.size} held)" in shown
