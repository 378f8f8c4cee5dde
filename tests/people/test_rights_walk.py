"""Who gets through which door: every route of the built app, asked by five people, against the table below.

A new route fails the first test until it has a row: what it answers to a stranger, a technician, a clinician of the
pair's own clinic, one of another clinic, and a manager. Path parameters are filled in from `places`; what follows the
five answers is sent as a form, or as JSON to an address under /api/. Give enough that who may is not told 422 for
something else before the right is asked: a person who may not would then seem to be let in, and the walk says so.
"""

import json
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from fastapi.testclient import TestClient

from app import clock
from app.bench.actions import materials
from app.database import Database
from app.fitting import actions as fitting
from app.orders.actions.starts import keep_start
from app.people import actions
from app.people.queries import stations
from app.people.rules import new_badge
from app.people.tables import Clinic
from tests import house as builders
from tests.house import House
from tests.people.conftest import Browser, visitor
from tests.people.tablets import Benches, token_of

WHO = ("stranger", "technician", "clinician", "quay clinician", "manager")
MAY, NO, HIDDEN, DOOR = "let in", "not allowed", "not found", "asked to sign in"

ANYONE = (MAY, MAY, MAY, MAY, MAY)
SIGNED_IN = (DOOR, MAY, MAY, MAY, MAY)
WHO_SEES_THE_PAIR = (DOOR, MAY, MAY, HIDDEN, MAY)
CLINICIANS = (DOOR, NO, MAY, MAY, NO)
OWN_CLINICIAN = (DOOR, NO, MAY, HIDDEN, NO)
TECHNICIANS = (DOOR, MAY, NO, NO, NO)
BENCH_AND_CLINICS = (DOOR, MAY, MAY, MAY, NO)
LAB = (DOOR, MAY, NO, NO, MAY)
MANAGERS = (DOOR, NO, NO, NO, MAY)
NOBODY = (HIDDEN, HIDDEN, HIDDEN, HIDDEN, HIDDEN)


class Row(NamedTuple):
    method: str
    path: str
    answers: tuple[str, ...]
    send: Mapping[str, Any]
    at: Mapping[str, str]
    """Places of this row's own, by parameter; the rest are those that every row shares."""


def row(route: str, answers: tuple[str, ...], send: Mapping[str, Any] = {}, at: Mapping[str, str] = {}) -> Row:
    method, path = route.split(" ")
    return Row(method, path, answers, send, at)


SIDE = {"shell": "polypropylene", "shell_thickness": 40}
ORDER: dict[str, Any] = {
    "label": "MR 2210",
    "way": "cast",
    "captures": {"L": "foam", "R": "foam"},
    "prescription": {"L": SIDE, "R": SIDE},
}
START = {"name": "Usual, both", "way": "cast", "prescription": {"L": SIDE, "R": SIDE}}
ORDER_FORM = {
    "label": "MR 2211",
    "way": "cast",
    "sides": "L",
    "capture.L": "foam",
    "L.shell": "polypropylene",
    "L.shell_thickness": "4",
}
ASK = {"act": "ask", "reason": "Which side?", "waiting_on": "lab"}

ROWS = (
    # The desks: what several rooms know together.
    row("GET /", SIGNED_IN),
    row("GET /queue", SIGNED_IN),
    row("GET /queue/{stage}", SIGNED_IN),
    row("GET /find", SIGNED_IN),
    row("GET /pair/{code}", WHO_SEES_THE_PAIR),
    row("POST /pair/{code}/acts", WHO_SEES_THE_PAIR, ASK),
    row("POST /pair/{code}/belongings", WHO_SEES_THE_PAIR, {"kind": "liners", "side": "LR"}),
    row("POST /pair/{code}/belongings/{belonging_id}", WHO_SEES_THE_PAIR, {"becomes": "to_wearer"}),
    # The pair is not poured yet: who may say what became of its positive is told that there is none.
    row("POST /pair/{code}/positive/{side}", (DOOR, HIDDEN, NO, HIDDEN, HIDDEN), {"act": "broken"}),
    # Without a file: who may add one is told to choose it. No scan is there to be taken out by anyone.
    row("POST /pair/{code}/scan/{side}", (DOOR, MAY, MAY, HIDDEN, NO)),
    row("GET /pair/{code}/scan/{side}", (DOOR, HIDDEN, HIDDEN, HIDDEN, HIDDEN)),
    # No photo went along with what was asked in this story: who sees the pair is told so.
    row("GET /pair/{code}/photo/{photo_id}", (DOOR, HIDDEN, HIDDEN, HIDDEN, HIDDEN), at={"photo_id": "1"}),
    row("GET /pair/{code}/photo/{photo_id}/whole", (DOOR, HIDDEN, HIDDEN, HIDDEN, HIDDEN), at={"photo_id": "1"}),
    row("GET /pair/{code}/photo/{photo_id}/small", (DOOR, HIDDEN, HIDDEN, HIDDEN, HIDDEN), at={"photo_id": "1"}),
    row("GET /pair/{code}/stance", OWN_CLINICIAN),
    row("POST /pair/{code}/stance", OWN_CLINICIAN, {"kind": "posture"}),
    row("POST /pair/{code}/stance/posture", OWN_CLINICIAN, {"L.arch": "1"}),
    # No photo was added in this story: who may see one is told so, and who may add one to choose it.
    row("POST /pair/{code}/stance/photo", OWN_CLINICIAN),
    row("GET /pair/{code}/stance/photo/{photo_id}", (DOOR, NO, HIDDEN, HIDDEN, NO), at={"photo_id": "1"}),
    row("GET /pair/{code}/prescription", OWN_CLINICIAN),
    row("POST /pair/{code}/prescription", OWN_CLINICIAN),
    row("GET /orders/new", CLINICIANS),
    row("POST /orders/checks", CLINICIANS, {"L.shell": "acrylic"}),
    row("POST /orders/new", OWN_CLINICIAN, ORDER_FORM | {"clinic_id": "{house}"}),
    # Drafts are a person's own: who throws away what is no draft of theirs is told that it is gone.
    row("POST /orders/drafts", OWN_CLINICIAN, {"draft": "a-walked-form", "clinic_id": "{house}"}),
    row("POST /orders/drafts/{key}", CLINICIANS, at={"key": "a-walked-form"}),
    row("GET /orders/starts", CLINICIANS),
    row("POST /orders/starts/{start_id}", (DOOR, NO, MAY, HIDDEN, NO), {"start_name": "Soft"}),
    row("POST /pair/{code}/start", OWN_CLINICIAN, {"start_name": "Rigid"}),
    row("GET /arrivals", TECHNICIANS),
    row("POST /arrivals", TECHNICIANS, {"kind": "foam", "sides": "L", "label": "MR 2212"}),
    row("GET /parcels", BENCH_AND_CLINICS),
    row("POST /parcels", (DOOR, MAY, MAY, HIDDEN, NO), {"clinic_id": "{house}", "to_clinic": "yes"}),
    row("POST /parcels/{parcel_id}", (DOOR, NO, HIDDEN, MAY, NO)),
    row("GET /sheets/{kind}", LAB, at={"kind": "pour"}),
    row("POST /sheets/{kind}", LAB, {"codes": "{code}"}, at={"kind": "pour"}),
    row("GET /bench/cards", LAB),
    row("GET /bench", BENCH_AND_CLINICS),
    row("POST /bench", BENCH_AND_CLINICS, {"scan": "{code}"}),
    row("GET /bench/pair/{code}", (DOOR, MAY, MAY, HIDDEN, NO)),
    row("GET /bench/held", BENCH_AND_CLINICS, at={"?": "?stage=press"}),
    row(
        "POST /bench/acts",
        (DOOR, MAY, MAY, HIDDEN, NO),
        {"key": "walked-1", "acts": [{"act": "start", "code": "{code}"}]},
    ),
    row("GET /bench/worker.js", ANYONE),
    # Materials; the lot is in no pair, and no lot is held.
    row("GET /materials", LAB),
    row("POST /materials", LAB, {"kind": "plaster"}),
    row("GET /materials/{material_id:int}", LAB),
    row("POST /materials/{material_id:int}", LAB, {"act": "lot"}),
    row("GET /materials/lots/{lot_id}", LAB),
    row("POST /materials/lots/{lot_id}", MANAGERS, {"act": "hold"}),
    row("GET /materials/lots/{lot_id}/label", LAB),
    row("GET /materials/held", CLINICIANS),
    row("POST /materials/held", (DOOR, NO, HIDDEN, HIDDEN, NO), {"hold": "1", "pair": "1", "what": "told"}),
    row("GET /turnaround", MANAGERS),
    row("GET /turnaround/pairs", MANAGERS),
    row("GET /turnaround/late", MANAGERS),
    # Nothing was foretold in this story: who may see what moving the pair forward does is told so.
    row("GET /turnaround/late/{code}", (DOOR, NO, NO, NO, HIDDEN)),
    row("GET /turnaround/trust", MANAGERS),
    row("GET /turnaround/what-if", MANAGERS),
    row("GET /turnaround/returns", MANAGERS),
    row("GET /turnaround/returns/pairs", MANAGERS),
    row("GET /turnaround.xlsx", MANAGERS),
    row("GET /turnaround/returns.xlsx", MANAGERS),
    row("GET /turnaround/returns/pairs.xlsx", MANAGERS),
    row("GET /turnaround/pairs.xlsx", MANAGERS),
    # Nothing was foretold in this story: who may have it is told so.
    row("GET /turnaround/late.xlsx", (DOOR, NO, NO, NO, HIDDEN)),
    row("GET /journal", MANAGERS),
    row("GET /pair/{code}/transfer", MANAGERS),
    row("POST /pair/{code}/transfer", MANAGERS),
    row("GET /people/rights", MANAGERS),
    row("GET /reviews", CLINICIANS),
    row("GET /reviews/agenda", CLINICIANS),
    # No wearer has a recheck and no flag stands in this story: who may answer one is told so.
    row("POST /rechecks/{recheck_id}", (DOOR, NO, HIDDEN, HIDDEN, NO), at={"recheck_id": "1"}),
    # The wearer's own page: who has the address is let in, and what a clinician does about it.
    row("GET /w/{secret}", ANYONE),
    row("POST /w/{secret}", ANYONE, {"comfort": "4"}),
    row("GET /w/{secret}/calendar.ics", ANYONE),
    row("POST /pair/{code}/wearer-page/clear", OWN_CLINICIAN, at={"code": "{dispensed}"}),
    row("POST /pair/{code}/wearer-page/withdraw", OWN_CLINICIAN, at={"code": "{dispensed}"}),
    row("POST /pair/{code}/wearer-page", OWN_CLINICIAN, at={"code": "{dispensed}"}),
    row("GET /plans", (DOOR, NO, MAY, MAY, MAY)),
    row("POST /plans", (DOOR, NO, MAY, HIDDEN, MAY), {"clinic_id": "{house}"}),
    # No clinic has a plan of its own in this story: who may end one is told so.
    row("POST /plans/end", (DOOR, NO, HIDDEN, HIDDEN, HIDDEN), {"clinic_id": "{house}", "plan_id": "1"}),
    row("GET /flags", SIGNED_IN),
    row("GET /flags/limits", MANAGERS),
    row("POST /flags/limits", MANAGERS, {"no_move_days": "4"}),
    row("POST /flags", (DOOR, NO, HIDDEN, HIDDEN, HIDDEN), {"kind": "stuck", "since": "2026-01-05T08:00:00+00:00"}),
    # Programs.
    row("GET /api/docs", SIGNED_IN),
    row("GET /api/v1/openapi.json", ANYONE),
    row("POST /api/v1/orders", OWN_CLINICIAN, ORDER | {"clinic_id": "{house}"}),
    row("GET /api/v1/pairs", SIGNED_IN),
    row("GET /api/v1/pairs/{code}", WHO_SEES_THE_PAIR),
    row("POST /api/v1/pairs/{code}/acts", WHO_SEES_THE_PAIR, ASK),
    # Without photos: who sees the pair is told to send some.
    row("POST /api/v1/pairs/{code}/acts/photos", WHO_SEES_THE_PAIR),
    row("GET /api/v1/pairs/{code}/photos/{photo_id}", (DOOR, HIDDEN, HIDDEN, HIDDEN, HIDDEN), at={"photo_id": "1"}),
    row("POST /api/v1/pairs/{code}/belongings", WHO_SEES_THE_PAIR, {"kind": "liners"}),
    row("POST /api/v1/pairs/{code}/belongings/{belonging_id}", WHO_SEES_THE_PAIR, {"becomes": "to_clinic"}),
    row("POST /api/v1/pairs/{code}/scans/{side}", (DOOR, MAY, MAY, HIDDEN, NO)),
    row("POST /api/v1/pairs/{code}/prescription", OWN_CLINICIAN, {"prescription": ORDER["prescription"]}),
    row("POST /api/v1/pairs/{code}/second", OWN_CLINICIAN),
    row("GET /api/v1/pairs/{code}/stance", OWN_CLINICIAN),
    row(
        "POST /api/v1/pairs/{code}/stance",
        OWN_CLINICIAN,
        {"kind": "arch", "sides": {"L": {"dorsum": 610, "truncated": 1860}}},
        at={"code": "{dispensed}"},
    ),
    row("GET /api/v1/pairs/{code}/notes", OWN_CLINICIAN),
    row("GET /api/v1/drafts", CLINICIANS),
    # Drafts are seen by whoever began them alone, and nobody began this one.
    row("GET /api/v1/drafts/{draft}", (DOOR, NO, HIDDEN, HIDDEN, NO), at={"draft": "begun-by-nobody"}),
    row("POST /api/v1/drafts", OWN_CLINICIAN, {"draft": "begun-here", "clinic_id": "{house}", "fields": {}}),
    row("DELETE /api/v1/drafts/{draft}", CLINICIANS, at={"draft": "begun-by-nobody"}),
    row("GET /api/v1/starts", CLINICIANS),
    row("POST /api/v1/starts", OWN_CLINICIAN, START | {"clinic_id": "{house}"}),
    row("DELETE /api/v1/starts/{start}", OWN_CLINICIAN, at={"start": "{start_id}"}),
    row("POST /api/v1/parcels", (DOOR, MAY, MAY, HIDDEN, NO), {"clinic_id": "{house}", "codes": []}),
    row("POST /api/v1/parcels/{parcel_id}/arrival", (DOOR, NO, HIDDEN, MAY, NO), at={"parcel_id": "{second_parcel}"}),
    row("GET /api/v1/queues", SIGNED_IN),
    row("GET /api/v1/flags", SIGNED_IN),
    row("GET /api/v1/turnaround", MANAGERS),
    row("GET /api/v1/forecasts", MANAGERS),
    row("GET /api/v1/promise", OWN_CLINICIAN, at={"?": "?clinic_id={house}"}),
    row("GET /api/v1/lots", LAB),
    # Paper; the parcel is one for the other clinic.
    row("GET /paper/{code}/ticket", WHO_SEES_THE_PAIR),
    row("GET /paper/{code}/ticket.pdf", WHO_SEES_THE_PAIR),
    row("GET /paper/{code}/order", WHO_SEES_THE_PAIR),
    row("GET /paper/{code}/order.pdf", WHO_SEES_THE_PAIR),
    row("GET /paper/{code}/wearing", WHO_SEES_THE_PAIR, at={"code": "{dispensed}"}),
    row("GET /paper/{code}/wearing.pdf", WHO_SEES_THE_PAIR, at={"code": "{dispensed}"}),
    row("GET /paper/{code}/receipt", OWN_CLINICIAN),
    row("GET /paper/{code}/receipt.pdf", OWN_CLINICIAN),
    row("POST /pair/{code}/dues", (DOOR, NO, MAY, HIDDEN, MAY), {"dues.payment": "paid"}),
    row("POST /paper/{code}/wearing.pdf", WHO_SEES_THE_PAIR, at={"code": "{dispensed}"}),
    row("GET /paper/{code}/wearing.ics", WHO_SEES_THE_PAIR, at={"code": "{dispensed}"}),
    row("GET /paper/parcel/{parcel_id}/slip", (DOOR, MAY, HIDDEN, MAY, MAY)),
    row("GET /paper/parcel/{parcel_id}/slip.pdf", (DOOR, MAY, HIDDEN, MAY, MAY)),
    row("GET /paper/report/{month}", MANAGERS),
    row("GET /paper/report/{month}.pdf", MANAGERS),
    row("GET /paper/cards", LAB),
    row("GET /paper/cards.pdf", LAB),
    # No sheet was printed in this story: who may see one is told so.
    row("GET /paper/sheet/{sheet_id}/printed", (DOOR, HIDDEN, NO, NO, HIDDEN), at={"sheet_id": "1"}),
    row("GET /paper/sheet/{sheet_id}/printed.pdf", (DOOR, HIDDEN, NO, NO, HIDDEN), at={"sheet_id": "1"}),
    # Getting in; a wrong password is asked for again, and the lab's set-up is behind us.
    row("GET /sign-in", ANYONE),
    row("POST /sign-in", (DOOR, DOOR, DOOR, DOOR, DOOR)),
    row("POST /sign-out", ANYONE),
    row("GET /set-up/{token}", NOBODY),
    row("POST /set-up/{token}", NOBODY),
    row("GET /invitation/{token}", ANYONE),
    row("POST /invitation/{token}", ANYONE, {"password": "too short"}),
    row("POST /demo/next-day", NOBODY),
    row("POST /demo/sign-in", NOBODY, {"role": "manager"}),
    # The tablets of the bench. None of these browsers is one: whoever signs on is told so.
    row("GET /bench/sign-on", ANYONE),
    row("POST /bench/sign-on", ANYONE, {"badge": new_badge(), "pin": "2580"}),
    row("POST /bench/lock", ANYONE),
    row("GET /bench/enrol", MANAGERS),
    row("POST /bench/enrol", MANAGERS, {"name": ""}),
    row("GET /people/tablets", MANAGERS),
    row("POST /people/tablets/{station_id:int}/end", MANAGERS),
    row("POST /people/{staff_id:int}/badge", MANAGERS),
    row("POST /people/{staff_id:int}/badge/void", MANAGERS),
    row("POST /people/{staff_id:int}/pin/clear", MANAGERS),
    row("GET /pin", TECHNICIANS),
    row("POST /pin", TECHNICIANS, {"pin": "1234"}),
    # What one is told; reviews are the clinicians'. No calendar has this secret.
    row("GET /me/told", SIGNED_IN),
    row("POST /me/told", SIGNED_IN, {"hour": "7"}),
    row("POST /me/told/calendar", CLINICIANS),
    row("POST /me/told/calendar/end", SIGNED_IN),
    row("GET /calendar/{secret}.ics", NOBODY, at={"secret": "no-such-secret"}),
    # People and the lab's settings.
    row("GET /people", MANAGERS),
    row("POST /people/invite", MANAGERS),
    row("POST /people/withdraw", MANAGERS, {"email": "elowen@lab.example"}),
    row("GET /people/{staff_id:int}", MANAGERS),
    row("POST /people/{staff_id:int}", MANAGERS, {"roles": "technician"}),
    row("POST /people/{staff_id:int}/password-link", MANAGERS),
    # No token of this person has this mark: who may end one is told so.
    row("POST /people/{staff_id:int}/tokens", (DOOR, NO, NO, NO, HIDDEN), {"token": "0123456789"}),
    row("POST /people/{staff_id:int}/end", MANAGERS),
    row("GET /lab", MANAGERS),
    row("POST /lab", MANAGERS),
    row("POST /lab/clinics", MANAGERS),
    row("GET /lab/bench", MANAGERS),
    row("POST /lab/bench", MANAGERS),
    # What machines ask.
    row("GET /static", ANYONE),
    row("GET /metrics", NOBODY),  # with a browser's cookie, from elsewhere; tests/exchange/test_metrics.py has the rest
    row("GET /health/live", ANYONE),
    row("GET /health/ready", ANYONE),
)


def routes(app: FastAPI) -> set[tuple[str, str]]:
    """Method and path of everything that the app answers; HEAD comes with GET, a mounted folder is only read."""
    found = set()
    for route in iter_route_contexts(app.routes):
        methods = getattr(route, "methods", None) or {"GET"}
        found |= {(method, str(route.path)) for method in methods - {"HEAD"}}
    return found


def test_every_route_has_its_row_and_every_row_its_route(app: FastAPI) -> None:
    listed = [(each.method, each.path) for each in ROWS]
    assert routes(app) - set(listed) == set(), "routes without a row"
    assert set(listed) - routes(app) == set(), "rows of routes that are no more"
    assert len(listed) == len(set(listed))


@pytest.fixture
def places(program: Browser, house: House, database: Database) -> dict[str, str]:
    """What the paths' parameters stand for: a pair of Harbour Steps, a parcel on its way to Upper Quay, and others."""
    with database.writing() as db:
        manager = house.viewer("manager")
        token = actions.invite(db, by=manager, email="elowen@lab.example", name="E", roles=["technician"], clinics=[])
        technician = house.viewer("technician")
        plaster = {"kind": "plaster", "name": "Plaster", "unit": "g", "per_side": "900"}
        material = materials.add(db, by=technician, typed=plaster)
        lot = materials.add_lot(db, by=technician, material_id=material, typed={"number": "A 1", "stock": "9000"})
        clinic: dict[str, Any] = {
            "name": "Usual",
            "clinic_id": house.clinics["house"],
            "way": "cast",
            "body": {"L": SIDE},
        }
        start = keep_start(db, by=house.viewer("clinician"), **clinic)
        actions.enrol(db, by=manager, name="Press bench")
        (station,) = stations.stations(db)
    code = order(program("clinician"), house.clinics["house"])
    at_home = dispensed(program, house.clinics["house"])
    with database.writing() as db:
        own = db.get_one(Clinic, house.clinics["house"])
        own.wearer_pages, own.phone = True, "01 555 020"
        db.flush()
        secret = fitting.give_page(db, code=at_home, by=house.viewer("clinician"))
    shoes = program("technician").post(f"/api/v1/pairs/{code}/belongings", json={"kind": "shoes"})
    return {
        "code": code,
        "belonging_id": str(shoes.json()["belonging"]),
        "dispensed": at_home,
        "secret": secret,
        "parcel_id": sent_parcel(program, house.clinics["quay"]),
        "second_parcel": sent_parcel(program, house.clinics["quay"]),
        "material_id:int": str(material),
        "lot_id": str(lot),
        "station_id:int": str(station.id),
        "start_id": str(start),
        "month": f"{clock.today(house.zone):%Y-%m}",
        "stage": "press",
        "side": "L",
        "staff_id:int": str(house.people["second technician"]),
        "token": token,
        "house": str(house.clinics["house"]),
    }


def order(clinician: TestClient, clinic_id: int) -> str:
    answer = clinician.post("/api/v1/orders", json=ORDER | {"clinic_id": clinic_id})
    assert answer.status_code == 201, answer.text
    return str(answer.json()["code"])


def made(program: Browser, clinician: TestClient, clinic_id: int, until: str) -> str:
    """A pair that a technician has taken from the first stage to `until`."""
    technician, code = program("technician"), order(clinician, clinic_id)
    while (stage := technician.get(f"/api/v1/pairs/{code}").json()["stage"]) != until:
        done = technician.post(f"/api/v1/pairs/{code}/acts", json={"act": "advance", "from_stage": stage})
        assert done.status_code == 200, done.text
    return code


def dispensed(program: Browser, clinic_id: int) -> str:
    clinician = program("clinician")
    code = made(program, clinician, clinic_id, "dispense")
    fits = {"act": "dispense", "from_stage": "dispense", "facts": builders.FITS["LR"]}
    assert clinician.post(f"/api/v1/pairs/{code}/acts", json=fits).status_code == 200
    return code


def sent_parcel(program: Browser, clinic_id: int) -> str:
    code = made(program, program("quay clinician"), clinic_id, "send")
    parcel = program("technician").post("/api/v1/parcels", json={"clinic_id": clinic_id, "codes": [code]})
    assert parcel.status_code == 201, parcel.text
    return str(parcel.json()["parcel"])


def answered(answer: httpx2.Response) -> str:
    """A door that was passed may still say 409 or 422: then it is about the request, not about who asks."""
    if answer.status_code == 401 or answer.headers.get("location", "").startswith("/sign-in?then="):
        return DOOR
    words = {403: NO, 404: HIDDEN, 409: MAY, 422: MAY}
    return words.get(answer.status_code, MAY if answer.status_code < 400 else f"status {answer.status_code}")


def ask(client: TestClient, row: Row, places: Mapping[str, str]) -> str:
    def filled(words: str) -> str:
        for name, value in [*row.at.items(), *places.items()]:
            words = words.replace(f"{{{name}}}", value)
        return words

    address = filled(row.path + row.at.get("?", "")).replace("/static", "/static/look.css")
    sent = json.loads(filled(json.dumps(row.send)))
    if row.method == "GET":
        return answered(client.get(address))
    if row.path.startswith("/api/") or row.path == "/bench/acts":
        return answered(client.request(row.method, address, json=sent))
    return answered(client.request(row.method, address, data=sent))


def test_each_person_is_let_in_where_the_table_says_and_nowhere_else(
    app: FastAPI, house: House, places: dict[str, str]
) -> None:
    """A session or token of its own for each request: signing out or failing to sign in then spoils no other."""

    def client(who: str, row: Row) -> TestClient:
        if who == "stranger":
            return visitor(app)
        make: Callable[[FastAPI, int], TestClient] = (
            builders.program if row.path.startswith("/api/v1/") else builders.browser
        )
        return make(app, house.people[who])

    otherwise = {}
    for each in ROWS:
        for who, expected in zip(WHO, each.answers, strict=True):
            got = ask(client(who, each), each, places)
            if got != expected:
                otherwise[f"{each.method} {each.path}", who] = f"{got}, not {expected}"
    assert otherwise == {}


def test_a_browser_s_cookie_is_no_key_for_programs_and_a_token_opens_no_page(
    browser: Browser, program: Browser
) -> None:
    assert browser("manager").get("/api/v1/queues").status_code == 401
    assert program("manager").get("/people").headers["location"] == "/sign-in?then=/people"


def test_a_sign_on_at_a_tablet_is_no_key_to_any_door_but_the_bench_s(
    app: FastAPI, house: House, places: dict[str, str]
) -> None:
    """Whoever copies its cookies and sends them everywhere, under each name and as a token, is a stranger there."""
    tablet = Benches(app, house).signed_on("practitioner", "Grinder")
    token, secret = token_of(tablet), token_of(tablet, "pairtrail-tablet")
    otherwise = {}
    for each in ROWS:
        if each.path.split("/")[1] != "bench":
            thief = visitor(app)
            thief.headers["authorization"] = f"Bearer {token}"
            for name, value in (("pairtrail", token), ("pairtrail-bench", token), ("pairtrail-tablet", secret)):
                thief.cookies.set(name, value)
            if (got := ask(thief, each, places)) not in (each.answers[0], DOOR):
                otherwise[f"{each.method} {each.path}"] = got
    assert otherwise == {}
    assert "Practitioner is signed on here." in tablet.get("/bench/sign-on").text, "nor can a thief end it"
