"""The API's reference: it tells everything, and whatever it shows can be sent as it stands."""

import io
import json
import subprocess
from collections.abc import Callable, Iterator, Mapping
from datetime import timedelta
from typing import Any, NamedTuple

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image
from sqlmodel import col, update

from app import clock
from app.bench.actions import materials
from app.bench.rules.acts import ACTS
from app.bench.tables import Lot as LotTable
from app.database import Database
from app.demo.actions import open_lab
from app.desks.examples import CODE, LOT
from app.desks.pages.reference import read
from app.desks.rules import ELSEWHERE
from app.main import build
from app.settings import ROOT, Settings
from tests import house as builders
from tests.bench.conftest import Lab

ACT = "/api/v1/pairs/{code}/acts"
ARRIVAL = "/api/v1/parcels/{parcel_id}/arrival"
BELONGING = "/api/v1/pairs/{code}/belongings"
FATE = "/api/v1/pairs/{code}/belongings/{belonging_id}"
PHOTOS = "/api/v1/pairs/{code}/acts/photos"
SCAN = "/api/v1/pairs/{code}/scans/{side}"
PRESCRIPTION = "/api/v1/pairs/{code}/prescription"
FORMS = (PHOTOS, SCAN)
"""Addresses that take a form with files."""
SECOND = "/api/v1/pairs/{code}/second"
STANCE = "/api/v1/pairs/{code}/stance"


class DemoLab(Lab):
    """The demo's lab and situations in it: each makes a pair of a wearer of its own and returns the code."""

    wearers = 0

    def pair(self, until: str = "press", by: str = "clinician", clinic: str = "house") -> str:
        self.wearers += 1
        code = self.order(by, clinic, label=f"Example {self.wearers}")
        self.walk(code, until, by)
        return code

    def done(self, act: str, by: str = "technician", until: str = "press", **more: Any) -> str:
        code = self.pair(until)
        self.act(code, act, by=by, **more)
        return code

    def worn(self) -> str:
        return self.pair("wear_in")

    def with_a_lot(self) -> str:
        """The lot has the number that the example names."""
        with self.database.writing() as db:
            technician = self.house.viewer("technician")
            sheet = {"kind": "sheet", "name": "PP 4 mm", "material": "polypropylene", "thickness": "4"}
            material = materials.add(db, by=technician, typed=sheet | {"unit": "sheet", "per_side": "0.5"})
            lot = materials.add_lot(db, by=technician, material_id=material, typed={"number": "A 1", "stock": "9"})
            db.execute(update(LotTable).where(col(LotTable.id) == lot).values(id=LOT))
        return self.pair()

    def from_scans(self) -> str:
        return self.order(way="direct", captures=dict.fromkeys("LR", "scan"), label="From scans")

    def given_up(self) -> str:
        code = self.worn()
        for _ in range(3):
            self.act(code, "tell", by="clinician", facts={"how": "telephone", "who": "left_word"})
        return code

    def forgotten(self) -> str:
        code = self.done("tell", "clinician", "dispense", facts={"how": "letter", "who": "wearer"})
        clock.set_shift(timedelta(days=61))
        return code

    def withdrawn(self) -> str:
        code = self.pair()
        self.act(code, "withdraw", by="manager", reason="Ordered twice.", facts={"code": code})
        return code

    def to_come_back(self) -> str:
        code = self.pair("wear_in", "quay clinician", "quay")
        facts = {"where": "lab", "stages": ["cover"]}
        self.act(code, "adjust", by="quay clinician", sides="LR", reason="It has lifted.", facts=facts)
        return code


class Situation(NamedTuple):
    """Who sends an example, and the pair it is sent about."""

    who: str
    pair: Callable[[DemoLab], str] = lambda _: ""


def at(stage: str) -> Callable[[DemoLab], str]:
    return lambda lab: lab.pair(stage)


def to_send(lab: DemoLab) -> str:
    return lab.pair("send", "quay clinician", "quay")


SITUATIONS: dict[tuple[str, str], Situation] = {
    ("/api/v1/orders", "a_pair"): Situation("clinician"),
    ("/api/v1/orders", "one_foot"): Situation("clinician"),
    (PRESCRIPTION, "both"): Situation("clinician", at("press")),
    ("/api/v1/drafts", "begun"): Situation("clinician"),
    ("/api/v1/starts", "of_a_clinic"): Situation("clinician"),
    ("/api/v1/starts", "of_ones_own"): Situation("clinician"),
    (SECOND, "the_same"): Situation("clinician", at("wear_in")),
    (SECOND, "another_shoe"): Situation("clinician", at("wear_in")),
    (STANCE, "angles"): Situation("clinician", at("dispense")),
    (STANCE, "angles_in_devices"): Situation("clinician", DemoLab.worn),
    (STANCE, "posture"): Situation("clinician", at("dispense")),
    (STANCE, "arch"): Situation("clinician", at("dispense")),
    (STANCE, "navicular"): Situation("clinician", at("dispense")),
    ("/api/v1/parcels", "to_the_clinic"): Situation("technician", to_send),
    ("/api/v1/parcels", "back_to_the_lab"): Situation("quay clinician", DemoLab.to_come_back),
    (ARRIVAL, "all_here"): Situation("quay clinician", to_send),
    (ARRIVAL, "one_missing"): Situation("quay clinician", to_send),
    (SCAN, "left"): Situation("technician", DemoLab.from_scans),
    (PHOTOS, "question"): Situation("technician", at("press")),
    (BELONGING, "shoes"): Situation("technician", at("press")),
    (FATE, "given_back"): Situation("clinician", at("press")),
    (FATE, "kept"): Situation("technician", at("press")),
    (ACT, "check_in"): Situation("technician", at("check_in")),
    (ACT, "advance"): Situation("technician", at("press")),
    (ACT, "advance_one_side"): Situation("technician", at("press")),
    (ACT, "advance_setting"): Situation("technician", at("pour")),
    (ACT, "advance_with_lots"): Situation("technician", DemoLab.with_a_lot),
    (ACT, "advance_far"): Situation("technician", at("press")),
    (ACT, "start"): Situation("technician", at("press")),
    (ACT, "put_down"): Situation("technician", lambda lab: lab.done("start")),
    (ACT, "park"): Situation("technician", at("press")),
    (ACT, "ask"): Situation("technician", at("press")),
    (ACT, "answer"): Situation("clinician", lambda lab: lab.done("ask", reason="Which side?")),
    (ACT, "resume"): Situation("technician", lambda lab: lab.done("park", reason="material", waiting_on="supplier")),
    (ACT, "send_back"): Situation("technician", at("trim")),
    (ACT, "recapture"): Situation("technician", at("press")),
    (ACT, "promise"): Situation("technician", at("press")),
    (ACT, "take_back"): Situation("technician", at("press")),
    (ACT, "tell"): Situation("clinician", at("dispense")),
    (ACT, "book"): Situation("clinician", at("dispense")),
    (ACT, "no_show"): Situation("clinician", at("dispense")),
    (ACT, "dispense"): Situation("clinician", at("dispense")),
    (ACT, "does_not_fit"): Situation("clinician", at("dispense")),
    (ACT, "note_request"): Situation("clinician", DemoLab.worn),
    (ACT, "keep_wearing"): Situation("clinician", DemoLab.worn),
    (ACT, "adjust_here"): Situation("clinician", DemoLab.worn),
    (ACT, "adjust_at_the_lab"): Situation("clinician", DemoLab.worn),
    (ACT, "settle"): Situation("clinician", DemoLab.worn),
    (ACT, "refurbish"): Situation("clinician", DemoLab.worn),
    (ACT, "remake"): Situation("clinician", DemoLab.worn),
    (ACT, "withdraw"): Situation("clinician", at("press")),
    (ACT, "close"): Situation("clinician", DemoLab.given_up),
    (ACT, "uncollected"): Situation("clinician", DemoLab.forgotten),
    (ACT, "reopen"): Situation("manager", DemoLab.withdrawn),
    (ACT, "transfer"): Situation("manager", at("press")),
}


@pytest.fixture
def demo(settings: Settings, database: Database) -> Iterator[tuple[FastAPI, DemoLab]]:
    with database.writing() as db:
        open_lab(db)
    app = build(settings)
    yield app, DemoLab(database, builders.demo_house(database))
    app.state.database.close()


def examples(app: FastAPI) -> dict[tuple[str, str], Any]:
    """Bodies by path and name."""
    return {
        (path, name): example["value"]
        for path, methods in app.openapi()["paths"].items()
        for operation in methods.values()
        for content in operation.get("requestBody", {}).get("content", {}).values()
        for name, example in content.get("examples", {}).items()
    }


def photo(colour: str) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (300, 400), colour).save(out, "JPEG")
    return out.getvalue()


FILES = {
    "foot.stl": (ROOT / "app/demo/feet/adult-left.stl").read_bytes(),
    "edge.jpg": photo("tan"),
    "heel.jpg": photo("olive"),
}
"""What lies in the folder from which an example is sent."""


def parts(body: Mapping[str, Any]) -> list[tuple[str, str, bool]]:
    """The fields of a form in their order: name, what it says, and whether that is a file."""
    found = []
    for name, value in body.items():
        if isinstance(value, dict):
            found.append((name, json.dumps(value), False))
        else:
            found += [(name, file, True) for file in ([value] if isinstance(value, str) else value)]
    return found


def send(client: TestClient, path: str, address: str, body: Mapping[str, Any]) -> httpx2.Response:
    if path not in FORMS:
        return client.post(address, json=body)
    files = [(name, (said, FILES[said])) for name, said, is_file in parts(body) if is_file]
    return client.post(address, data={name: said for name, said, is_file in parts(body) if not is_file}, files=files)


def test_every_example_works_on_the_demo(demo: tuple[FastAPI, DemoLab]) -> None:
    app, lab = demo
    found = examples(app)
    assert set(found) == set(SITUATIONS), "each example needs a situation and each situation its example"
    refused = {}
    for (path, name), body in found.items():
        situation = SITUATIONS[path, name]
        code = situation.pair(lab)
        places = {"code": code}
        if path == ARRIVAL:
            sent = {"clinic_id": lab.house.clinics["quay"], "codes": [code]}
            parcel = builders.program(app, lab.house.people["technician"]).post("/api/v1/parcels", json=sent)
            places["parcel_id"] = parcel.json()["parcel"]
        client = builders.program(app, lab.house.people[situation.who])
        if path == FATE:
            noted = client.post(BELONGING.format(code=code), json={"kind": "shoes"})
            places["belonging_id"] = noted.json()["belonging"]
        answer = send(client, path, path.format(side="L", **places), json.loads(json.dumps(body).replace(CODE, code)))
        if answer.status_code not in (200, 201):
            refused[path, name] = answer.text
        clock.set_shift(timedelta())
    assert refused == {}


def test_every_act_has_an_example_but_those_with_an_address_of_their_own(demo: tuple[FastAPI, DemoLab]) -> None:
    shown = {body["act"] for (path, _), body in examples(demo[0]).items() if path == ACT}
    assert shown == set(ACTS) - set(ELSEWHERE)


def test_every_operation_says_what_it_does_takes_and_refuses(demo: tuple[FastAPI, DemoLab]) -> None:
    silent = []
    for path, methods in demo[0].openapi()["paths"].items():
        assert path.startswith("/api/v1"), f"{path} is a page, not part of the API"
        for method, operation in methods.items():
            here = f"{method} {path}"
            silent += [f"{here}: {part}" for part in ("summary", "description") if not operation.get(part)]
            for content in operation.get("requestBody", {}).get("content", {}).values():
                if not content.get("examples"):
                    silent.append(f"{here}: examples")
            for status, said in operation["responses"].items():
                if status >= "400" and list(said["content"]) != ["application/problem+json"]:
                    silent.append(f"{here}: {status} is not what we answer")
    assert silent == []


def test_every_field_of_a_body_has_words(demo: tuple[FastAPI, DemoLab]) -> None:
    bodies = [each for group in read(demo[0].openapi(), "") for each in group.operations if each.body]
    assert bodies
    assert [f"{each.path}: {part.name}" for each in bodies for part in each.body if not part.words] == []


def test_a_command_copied_from_the_page_sends_its_example(demo: tuple[FastAPI, DemoLab]) -> None:
    """A shell takes each command apart: the address and the body hold the pair's code from the shell's variable."""
    app, _ = demo
    bodies = examples(app)
    operations = [each for group in read(app.openapi(), "http://lab.example") for each in group.operations]
    for operation in (each for each in operations if each.method == "POST"):
        names = [name for path, name in bodies if path == operation.path]
        for name, example in zip(names, operation.examples, strict=False):
            known = "TOKEN=secret CODE=26-00012-X PARCEL_ID=7 BELONGING_ID=3"
            script = f"curl() {{ printf '%s\\0' \"$@\"; }}; {known}\n{example.command}"
            run = subprocess.run(["sh", "-euc", script], capture_output=True, text=True, check=True, timeout=10)
            words = run.stdout.split("\0")
            address = operation.path.format(code="26-00012-X", parcel_id=7, belonging_id=3, side="L")
            assert words[:3] == ["-X", "POST", f"http://lab.example{address}"]
            assert "Authorization: Bearer secret" in words
            body = json.dumps(bodies[operation.path, name]).replace(CODE, "26-00012-X")
            if operation.path in FORMS:
                sent = [(word, words[n + 1]) for n, word in enumerate(words) if word in ("-F", "--form-string")]
                assert sent == [
                    ("-F", f"{name}=@{said}") if is_file else ("--form-string", f"{name}={said}")
                    for name, said, is_file in parts(json.loads(body))
                ]
                continue
            assert json.loads(words[words.index("-d") + 1]) == json.loads(body)


def test_whoever_is_signed_in_reads_it_and_a_stranger_is_asked_to_sign_in(demo: tuple[FastAPI, DemoLab]) -> None:
    app, lab = demo
    page = builders.browser(app, lab.house.people["technician"]).get("/api/docs")
    assert page.status_code == 200
    for operation in (each for group in read(app.openapi(), "") for each in group.operations):
        assert f'href="#{operation.id}"' in page.text, f"{operation.path} is not in the contents"
        assert f'id="{operation.id}"' in page.text
    stranger = TestClient(app, base_url="http://127.0.0.1", follow_redirects=False).get("/api/docs")
    assert stranger.headers["location"] == "/sign-in?then=/api/docs"
