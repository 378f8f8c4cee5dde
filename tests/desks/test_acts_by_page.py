"""Acts that technicians do from the pair's page, where the form has more to say than a button."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from app.database import Database
from tests.bench.conftest import Lab
from tests.house import House

Browser = Callable[[str], TestClient]


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


def test_a_broken_cast_is_asked_for_again_from_the_pair_s_page(browser: Browser, lab: Lab) -> None:
    technician, code = browser("technician"), lab.order()
    lab.walk(code, "pour")
    assert "Ask for a new capture" in technician.get(f"/pair/{code}").text
    act = {"act": "recapture", "from_stage": "pour", "reason": "broken"}
    missing = technician.post(f"/pair/{code}/acts", data=act)
    assert missing.status_code == 422
    assert "needs the sides it is about" in missing.text
    assert technician.post(f"/pair/{code}/acts", data=act | {"sides": "R"}).status_code == 303
    assert dict(lab.at(code).sides) == {"L": "pour", "R": "check_in"}


def test_the_promised_day_is_changed_with_a_reason_from_the_pair_s_page(browser: Browser, lab: Lab) -> None:
    technician, code = browser("technician"), lab.order()
    act = {"act": "promise", "from_stage": "check_in", "day": "2031-05-06"}
    refused = technician.post(f"/pair/{code}/acts", data=act)
    assert refused.status_code == 422
    assert 'value="2031-05-06"' in refused.text
    assert technician.post(f"/pair/{code}/acts", data=act | {"reason": "the press is down"}).status_code == 303
    assert str(lab.row(code)["promised_on"]) == "2031-05-06"
