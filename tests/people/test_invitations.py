"""A manager invites, the person chooses a password on a link that works once; and the same for a forgotten password."""

import re
from datetime import timedelta

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.database import Database
from app.people import queries
from app.people.queries import StaffRow
from app.people.rules import Role
from app.people.tables import Link
from tests.house import House
from tests.people.conftest import PASSWORD, Browser, Journal, visitor
from tests.people.forms import read

ELOWEN = {"name": "Elowen Sand", "email": "Elowen@Lab.example", "roles": ["technician"]}


def link_on(page: str) -> str:
    """The path of the link that a page shows once."""
    (path,) = set(re.findall(r"http://127\.0\.0\.1(/invitation/[\w-]+)", page))
    return str(path)


def invite(manager: TestClient, **more: object) -> str:
    answer = manager.post("/people/invite", data=ELOWEN | more)
    assert answer.status_code == 200, answer.text
    return link_on(answer.text)


def accept(client: TestClient, path: str, password: str = PASSWORD) -> int:
    return client.post(path, data={"password": password}).status_code


def whoever(database: Database, email: str) -> StaffRow:
    with database.reading() as db:
        (row,) = [row for row in queries.staff(db) if row.email == email]
    return row


@pytest.mark.parametrize(
    ("roles", "clinics"),
    [
        (["technician"], []),
        (["technician"], ["quay"]),
        (["clinician"], ["house"]),
        (["clinician"], ["house", "trims"]),
        (["manager"], []),
        (["manager", "clinician"], ["trims"]),
        (["manager", "technician", "clinician"], ["quay", "house", "trims"]),
    ],
)
def test_roles_and_clinics_combine_freely(
    browser: Browser, stranger: TestClient, database: Database, house: House, roles: list[str], clinics: list[str]
) -> None:
    ids = [house.clinics[key] for key in clinics]
    path = invite(browser("manager"), roles=roles, clinics=ids)
    assert "Welcome, Elowen Sand" in stranger.get(path).text
    assert accept(stranger, path) == 303
    row = whoever(database, "elowen@lab.example")
    assert row.roles == [role for role in Role if role in roles]
    assert sorted(row.clinics) == sorted(ids)
    assert stranger.get("/people").status_code == (200 if "manager" in roles else 403)
    assert stranger.get("/orders/new").status_code == (200 if "clinician" in roles else 403)


def test_who_joined_is_signed_in_and_can_sign_in_again(app: FastAPI, browser: Browser, stranger: TestClient) -> None:
    accept(stranger, invite(browser("manager")))
    assert "Welcome, Elowen Sand." in stranger.get("/").text
    again = visitor(app).post("/sign-in", data={"email": "elowen@lab.example", "password": PASSWORD})
    assert again.status_code == 303


def test_inviting_and_joining_are_journalled_without_a_name(
    browser: Browser, stranger: TestClient, house: House, journal: Journal, database: Database
) -> None:
    accept(stranger, invite(browser("manager"), roles=["clinician"], clinics=[house.clinics["house"]]))
    (invited,), (joined,) = journal("invited"), journal("joined")
    assert invited.staff_id == house.people["manager"]
    assert invited.facts == {"roles": ["clinician"], "clinics": [house.clinics["house"]]}
    assert joined.staff_id == joined.subject_id == whoever(database, "elowen@lab.example").id


def test_an_invitation_is_used_once(app: FastAPI, browser: Browser, stranger: TestClient) -> None:
    path = invite(browser("manager"))
    assert accept(stranger, path) == 303
    thief = visitor(app)
    assert thief.get(path).status_code == 404
    assert accept(thief, path, "another password of mine") == 404
    assert thief.get("/").status_code == 303
    assert stranger.get("/").status_code == 200


def test_an_invitation_lasts_a_week(browser: Browser, stranger: TestClient) -> None:
    path = invite(browser("manager"))
    clock.set_shift(timedelta(days=7, seconds=1))
    assert stranger.get(path).status_code == 404
    assert accept(stranger, path) == 404


WEAK = (
    ("", "at least 12 characters"),
    ("elevenchars", "at least 12 characters"),
    ("x" * 201, "at most 200 characters"),
    ("password1234", "among the first"),
    ("PasswordPassword", "among the first"),
    ("elowen elowen", "among the first"),
    ("Saltmarsh2026!", "among the first"),
    ("1234567890 12", "among the first"),
    ("ababababababab", "repeats the same few characters"),
)


def test_a_weak_password_is_refused_and_the_link_still_works(browser: Browser, stranger: TestClient) -> None:
    path = invite(browser("manager"))
    for password, sentence in WEAK:
        answer = stranger.post(path, data={"password": password})
        assert answer.status_code == 422, password
        assert sentence in answer.text, password
        assert read(answer.text).wrong == {"password"}
    assert accept(stranger, path) == 303


@pytest.mark.parametrize(
    "password", ["a few words in a row", "Τρεις γάτες στο λιμάνι", "\N{FOOTPRINTS} walks by the sea"]
)
def test_a_few_words_of_any_script_are_a_good_password(
    app: FastAPI, browser: Browser, stranger: TestClient, password: str
) -> None:
    assert accept(stranger, invite(browser("manager")), password) == 303
    again = visitor(app).post("/sign-in", data={"email": "elowen@lab.example", "password": password})
    assert again.status_code == 303


def test_a_password_is_never_shown_or_stored(browser: Browser, stranger: TestClient, database: Database) -> None:
    path = invite(browser("manager"))
    refused = stranger.post(path, data={"password": "password1234"})
    assert "password1234" not in refused.text
    accept(stranger, path)
    with database.reading() as db:
        rows = [db.connection().exec_driver_sql(f"SELECT * FROM {name}").all() for name in ("staff", "link", "entry")]
    assert PASSWORD not in str(rows)


def test_the_link_is_shown_once_and_only_its_digest_is_kept(browser: Browser, database: Database) -> None:
    manager = browser("manager")
    secret = invite(manager).rsplit("/", 1)[-1]
    page = manager.get("/people").text
    assert "Elowen Sand" in page
    assert secret not in page
    with database.reading() as db:
        assert secret not in str(db.exec(select(Link)).one().model_dump())


MISTAKES: tuple[tuple[str, object], ...] = (
    ("name", " "),
    ("name", "x" * 121),
    ("email", "elowen"),
    ("email", "x" * 200 + "@lab.example"),
    ("email", "technician@lab.example"),
    ("email", "TECHNICIAN@lab.example "),
    ("roles", []),
    ("roles", ["owner"]),
    ("roles", ["technician", "root"]),
    ("roles", ["clinician"]),
    ("clinics", ["999"]),
    ("clinics", ["-1"]),
    ("clinics", ["\N{SUPERSCRIPT TWO}"]),
    ("clinics", ["9" * 40]),
)


def test_an_invitation_that_cannot_be_comes_back_filled_and_makes_nothing(browser: Browser, database: Database) -> None:
    manager = browser("manager")
    for field, typed in MISTAKES:
        answer = manager.post("/people/invite", data=ELOWEN | {field: typed})
        case = f"{field} = {typed!r}"
        assert answer.status_code == 422, case
        page = read(answer.text)
        assert page.wrong == {"clinics" if typed == ["clinician"] else field}, case
        kept = {name: ELOWEN[name] for name in ("name", "email") if name != field}
        assert {name: page.values[name] for name in kept} == kept, case
    with database.reading() as db:
        assert db.exec(select(Link)).all() == []


def test_an_invited_name_is_shown_as_words(browser: Browser, stranger: TestClient) -> None:
    manager = browser("manager")
    path = invite(manager, name="<script>alert(1)</script>", email="a'\"<b>@lab.example")
    for page in (manager.get("/people"), stranger.get(path)):
        assert read(page.text).tags.count("script") == 1
        assert "b" not in read(page.text).tags


def test_inviting_the_same_address_again_takes_the_first_link_s_place(browser: Browser, stranger: TestClient) -> None:
    manager = browser("manager")
    first, second = invite(manager), invite(manager, roles=["manager"])
    assert accept(stranger, first) == 404
    assert accept(stranger, second) == 303


def test_a_withdrawn_invitation_does_not_work_any_more(
    browser: Browser, stranger: TestClient, house: House, journal: Journal
) -> None:
    manager = browser("manager")
    path = invite(manager)
    assert manager.post("/people/withdraw", data={"email": "elowen@lab.example"}).status_code == 303
    assert "Elowen Sand" not in manager.get("/people").text
    assert accept(stranger, path) == 404
    assert manager.post("/people/withdraw", data={"email": "elowen@lab.example"}).status_code == 404
    assert [entry.staff_id for entry in journal("invitation_withdrawn")] == [house.people["manager"]]


def test_who_left_comes_back_by_a_new_invitation_alone(
    browser: Browser, stranger: TestClient, app: FastAPI, database: Database
) -> None:
    manager = browser("manager")
    accept(stranger, invite(manager, roles=["technician"]))
    left = whoever(database, "elowen@lab.example")
    forgotten = link_on(manager.post(f"/people/{left.id}/password-link").text)
    manager.post(f"/people/{left.id}/end", data={"confirm": "elowen@lab.example"})
    assert accept(stranger, forgotten) == 404
    assert stranger.post("/sign-in", data={"email": left.email, "password": PASSWORD}).status_code == 401
    accept(visitor(app), invite(manager, roles=["manager"], name="Elowen Shore"))
    back = whoever(database, "elowen@lab.example")
    assert (back.id, back.name, back.roles, back.ended_at) == (left.id, "Elowen Shore", ["manager"], None)


def test_a_forgotten_password_is_replaced_on_a_link_and_signs_out_everywhere(
    app: FastAPI, browser: Browser, stranger: TestClient, house: House, journal: Journal
) -> None:
    technician, colleague = browser("technician"), browser("second technician")
    answer = browser("manager").post(f"/people/{house.people['technician']}/password-link")
    path = link_on(answer.text)
    assert "A new password, Technician" in stranger.get(path).text
    assert technician.get("/").status_code == 200
    assert stranger.post(path, data={"password": "short"}).status_code == 422
    assert accept(stranger, path) == 303
    assert accept(stranger, path) == 404
    assert technician.get("/").status_code == 303
    assert colleague.get("/").status_code == 200
    assert stranger.get("/").status_code == 200
    again = visitor(app).post("/sign-in", data={"email": "technician@lab.example", "password": PASSWORD})
    assert again.status_code == 303
    assert [entry.staff_id for entry in journal("password_link_made")] == [house.people["manager"]]
    assert [entry.staff_id for entry in journal("password_changed")] == [house.people["technician"]]
