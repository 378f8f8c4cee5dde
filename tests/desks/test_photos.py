"""Photos in the talk of lab and clinic: who sends and sees them, what is kept of them, and what is refused whole."""

import io
import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image
from sqlalchemy import text
from sqlalchemy.exc import OperationalError, ProgrammingError
from sqlmodel import col, select

from app import clock
from app.bench.rules.machine import Asked
from app.bench.rules.photos import MOST, SHOWN_WITH
from app.bench.tables import MovePhoto
from app.capture.reading.photos import read
from app.database import Database
from app.desks import actions
from app.journal.tables import Entry
from tests.bench.conftest import Lab
from tests.house import House

Person = Callable[[str], TestClient]
ASK = {"act": "ask", "from_stage": "press", "reason": "Is this edge meant?", "waiting_on": "clinic"}
ANSWER = {"act": "answer", "from_stage": "press", "reason": "Yes, it carries the pad."}


@pytest.fixture
def lab(database: Database, house: House) -> Lab:
    return Lab(database, house)


@pytest.fixture
def code(lab: Lab) -> str:
    """A pair at the press."""
    code = lab.order()
    lab.walk(code, "press")
    return code


def jpeg(colour: str = "tan", size: tuple[int, int] = (900, 1200), **more: Any) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG", **more)
    return out.getvalue()


EDGE, HEEL = jpeg("tan"), jpeg("olive")


def photos(*contents: bytes) -> list[tuple[str, tuple[str, bytes]]]:
    return [("photos", (f"IMG_{number}.jpg", content)) for number, content in enumerate(contents)]


def send(who: TestClient, code: str, form: dict[str, str], *contents: bytes) -> httpx2.Response:
    """The form of the pair's page as a browser sends it, its unused file field included."""
    return who.post(f"/pair/{code}/acts", data=form, files=[*photos(*contents), ("photos", ("", b""))])


def stored(app: FastAPI) -> list[Path]:
    return [path for path in app.state.storage.folder.rglob("*") if path.is_file()]


def kept(database: Database) -> list[MovePhoto]:
    with database.reading() as db:
        return list(db.exec(select(MovePhoto).order_by(col(MovePhoto.id))))


def today(lab: Lab) -> str:
    day = clock.today(lab.house.zone)
    return f"{day.day} {day:%B}"


def test_a_question_and_its_answer_come_with_photos_that_both_sides_see(
    browser: Person, lab: Lab, database: Database, code: str
) -> None:
    technician, clinician = browser("technician"), browser("clinician")
    assert 'enctype="multipart/form-data"' in technician.get(f"/pair/{code}").text
    assert send(technician, code, ASK, EDGE, HEEL).status_code == 303
    assert "2 photos" in clinician.get("/").text
    page = clinician.get(f"/pair/{code}").text
    for number in (1, 2):
        assert page.count(f'alt="photo {number} of the question of {today(lab)}"') == 2, "at the question, in the log"
    assert send(clinician, code, ANSWER, EDGE).status_code == 303
    first, _, answer = kept(database)
    page = technician.get(f"/pair/{code}").text
    assert f'href="/pair/{code}/photo/{answer.id}"' in page
    assert f'alt="photo 1 of the answer of {today(lab)}"' in page
    whole = technician.get(f"/pair/{code}/photo/{first.id}").text
    assert f"<title>Photo 1 of the question of {today(lab)} · {code}" in whole
    assert "Is this edge meant?" in whole
    assert f'src="/pair/{code}/photo/{first.id}/whole"' in whole
    assert "photo 2 of the question" in whole, "the other one that was sent with it"
    assert "photos" not in clinician.get("/").text, "nothing is asked any more"


@pytest.mark.parametrize("act", SHOWN_WITH)
def test_every_act_by_which_they_talk_takes_photos_on_the_pair_s_page(
    browser: Person, lab: Lab, database: Database, act: str
) -> None:
    code = lab.order()
    lab.walk(code, "wear_in")
    if act in ("answer", "resume"):
        lab.act(code, "ask", by="clinician", reason="Which cover?", waiting_on="lab")
    who = browser("technician" if act == "answer" else "clinician")
    field = "wish" if act == "note_request" else act
    assert f'id="{field}-photos"' in who.get(f"/pair/{code}").text
    form = {"act": act, "from_stage": "wear_in", "reason": "other" if act == "park" else "So.", "waiting_on": "lab"}
    assert send(who, code, form, EDGE).status_code == 303
    assert len(kept(database)) == 1
    assert f"photo 1 of the {SHOWN_WITH[act]} of" in who.get(f"/pair/{code}").text


def test_nothing_that_the_camera_noted_is_kept_and_a_photo_is_only_ever_saved(
    app: FastAPI, browser: Person, database: Database, code: str
) -> None:
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x8825] = 6, "Camera of Ada", {1: "N", 2: (50.0, 10.0, 0.0)}
    technician = browser("technician")
    send(technician, code, ASK, jpeg(size=(1200, 900), exif=exif, comment=b"Ada's kitchen"))
    assert len(stored(app)) == 2, "whole and small"
    assert all(b"Ada" not in path.read_bytes() for path in stored(app))
    number = kept(database)[0].id
    for which, size in (("whole", (900, 1200)), ("small", (240, 320))):
        answer = technician.get(f"/pair/{code}/photo/{number}/{which}")
        photo = Image.open(io.BytesIO(answer.content))
        assert (photo.size, dict(photo.getexif())) == (size, {}), "turned as the camera was held"
        assert answer.headers["content-type"] == "image/jpeg"
        assert answer.headers["content-disposition"] == f'attachment; filename="{code}-{number}.jpg"'
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "private, no-store"


def test_another_clinic_finds_none_of_it_and_reading_is_journalled_once_an_hour(
    browser: Person, program: Person, lab: Lab, database: Database, code: str
) -> None:
    send(browser("technician"), code, ASK, EDGE)
    other, number = lab.order(), kept(database)[0].id
    stranger = browser("quay clinician")
    for path in ("", "/whole", "/small"):
        assert stranger.get(f"/pair/{code}/photo/{number}{path}").status_code == 404
        assert browser("clinician").get(f"/pair/{other}/photo/{number}{path}").status_code == 404, "another pair's"
    assert send(stranger, code, ASK, EDGE).status_code == 404
    assert program("quay clinician").get(f"/api/v1/pairs/{code}/photos/{number}").status_code == 404
    manager = browser("manager")
    for path in ("", f"/photo/{number}", f"/photo/{number}/small", f"/photo/{number}/whole"):
        assert manager.get(f"/pair/{code}{path}").status_code == 200
    with database.reading() as db:
        readers = db.exec(select(Entry.staff_id).where(Entry.what == "patient_read")).all()
        (added,) = db.exec(select(Entry).where(Entry.what == "photos_added")).all()
    assert readers.count(lab.house.people["manager"]) == 1
    assert (added.staff_id, added.facts) == (
        lab.house.people["technician"],
        {"move": kept(database)[0].move_id, "photos": 1},
    )


REFUSED: dict[str, tuple[dict[str, str], list[bytes], str]] = {
    "no photo": (ASK, [b"Dear clinic, the photo follows."], "This file is no photo that is known here."),
    "cut off": (ASK, [jpeg(quality=95)[:4000]], "This photo is damaged or cut off"),
    "one of two": (ASK, [EDGE, b"%PDF-1.7"], "Photo 2: This file is a PDF."),
    "too large": (ASK, [EDGE + bytes(15_000_000)], "at most 15,000,000 are taken."),
    "too many": (ASK, [jpeg(size=(200 + n, 300)) for n in range(MOST + 1)], "5 photos were chosen; at most 4 go along"),
    "words missing": (ASK | {"reason": ""}, [EDGE], "Choose these photos once more; a browser keeps what was typed"),
    "no photo and no words": (ASK | {"reason": ""}, [b"GIF89a"], "This file is a GIF."),
    "lost on the way": (ASK | {"photos": "edge.jpg"}, [], "Choose these photos once more"),
    "an act without": (
        {"act": "send_back", "from_stage": "press", "sides": "L", "to_stage": "pour", "reason": "shape"},
        [EDGE],
        "takes no photos; these acts do: Park, Ask, Answer",
    ),
}


@pytest.mark.anywhere
@pytest.mark.parametrize("name", REFUSED)
def test_what_is_refused_moves_nothing_and_keeps_what_was_typed(
    app: FastAPI, browser: Person, lab: Lab, database: Database, code: str, name: str
) -> None:
    form, contents, says = REFUSED[name]
    before = lab.at(code)
    answer = send(browser("technician"), code, form | {"before": "cover"}, *contents)
    assert answer.status_code == 422
    assert says in answer.text
    assert 'href="#f-photos"' in answer.text
    if not form["reason"]:
        assert "&#39;Ask&#39; needs a reason." in answer.text, "everything that is wrong is named at once"
    if form["act"] == "ask":
        assert 'id="f-photos"' in answer.text
        assert answer.text.count(says) == 2, "in the summary and at the field"
        assert '<option value="cover" selected>' in " ".join(answer.text.split())
    assert form["reason"] in answer.text
    assert lab.at(code) == before
    assert (kept(database), stored(app)) == ([], [])


def test_a_pair_that_has_moved_on_says_so_and_asks_for_the_photos_again(
    app: FastAPI, browser: Person, lab: Lab, code: str
) -> None:
    answer = send(browser("technician"), code, ASK | {"version": "1"}, EDGE)
    assert answer.status_code == 409
    assert "was changed meanwhile" in answer.text
    assert "Choose these photos once more" in answer.text
    assert stored(app) == []


def test_the_same_form_sent_twice_keeps_one_set(
    app: FastAPI, browser: Person, lab: Lab, database: Database, code: str
) -> None:
    technician = browser("technician")
    form = ASK | {"version": str(lab.at(code).version), "key": "form-1-ask"}
    first, again = send(technician, code, form, EDGE, EDGE, HEEL), send(technician, code, form, EDGE, EDGE, HEEL)
    assert (first.status_code, again.status_code) == (303, 303)
    assert first.headers["location"] == again.headers["location"]
    assert len(lab.at(code).holds) == 1
    assert len(kept(database)) == 2, "the very same photo is kept once"
    assert len(stored(app)) == 4
    other = send(technician, code, form | {"reason": "Is this heel meant?"}, EDGE)
    assert other.status_code == 409
    assert "This form was sent before, with something else in it." in other.text
    assert "Is this heel meant?" in other.text


def test_a_set_whose_entry_is_not_kept_in_the_log_is_not_kept_in_the_store(
    app: FastAPI, lab: Lab, database: Database, code: str
) -> None:
    """The log can't be written when the files are there already: neither move nor rows nor files stay behind."""
    version = lab.at(code).version
    with pytest.raises((OperationalError, ProgrammingError), match="entry"), database.writing() as db:
        db.execute(text("ALTER TABLE entry RENAME TO entry_away"))
        asked = Asked("ask", "press", reason="Is this edge meant?")
        by, sent = lab.house.viewer("technician"), [read(EDGE), read(HEEL)]
        actions.do_with_photos(db, app.state.storage, code=code, asked=asked, photos=sent, by=by)
        assert len(stored(app)) == 4
    assert (kept(database), stored(app)) == ([], [])
    assert lab.at(code).version == version


def test_a_form_without_files_may_not_be_as_large_as_one_with(browser: Person, code: str) -> None:
    form = ASK | {"reason": "x" * 1_500_000}
    assert browser("technician").post(f"/pair/{code}/acts", data=form).status_code == 413
    assert send(browser("technician"), code, ASK, *[EDGE + bytes(16_000_000)] * MOST).status_code == 413


def test_a_form_that_waited_for_a_sign_in_tells_that_its_photos_are_gone(browser: Person, lab: Lab, code: str) -> None:
    technician = browser("technician")
    clock.set_shift(timedelta(hours=1))
    waiting = send(technician, code, ASK, EDGE)
    assert waiting.status_code == 401
    assert "IMG_0.jpg" in waiting.text, "the name travels along, the file can't"
    late = browser("technician").post(f"/pair/{code}/acts", data=ASK | {"photos": "IMG_0.jpg"})
    assert late.status_code == 422
    assert "Choose these photos once more" in late.text
    assert lab.at(code).holds == ()


def by_program(who: TestClient, code: str, act: dict[str, str], *contents: bytes, key: str = "k-1") -> httpx2.Response:
    path, headers = f"/api/v1/pairs/{code}/acts/photos", {"Idempotency-Key": key}
    return who.post(path, data={"act": json.dumps(act)}, files=photos(*contents), headers=headers)


def test_a_program_sends_photos_with_an_act_and_reads_them_again(
    app: FastAPI, program: Person, lab: Lab, code: str
) -> None:
    technician, clinician = program("technician"), program("clinician")
    first, again = by_program(technician, code, ASK, EDGE, HEEL), by_program(technician, code, ASK, EDGE, HEEL)
    assert first.status_code == 200, first.text
    assert first.json() == again.json()
    assert len(stored(app)) == 4
    moves = clinician.get(f"/api/v1/pairs/{code}").json()["moves"]
    assert [len(move["photos"]) for move in moves] == [0] * (len(moves) - 1) + [2]
    photo = clinician.get(f"/api/v1/pairs/{code}/photos/{moves[-1]['photos'][1]}")
    assert Image.open(io.BytesIO(photo.content)).size == (900, 1200)
    assert photo.headers["content-disposition"].startswith("attachment")
    other = by_program(technician, code, ASK, HEEL)
    assert (other.status_code, "already used" in other.json()["detail"]) == (422, True)


def test_what_a_program_sends_wrongly_is_named_and_nothing_is_asked(
    app: FastAPI, program: Person, lab: Lab, code: str
) -> None:
    technician = program("technician")
    for act, contents, field in (
        (ASK, [b"GIF89a"], "photos"),
        (ASK, [], "photos"),
        (ASK, [jpeg(size=(200 + n, 300)) for n in range(MOST + 1)], "photos"),
        (ASK | {"colour": "red"}, [EDGE], "act.colour"),
        ({"act": "advance", "from_stage": "press"}, [EDGE], "photos"),
    ):
        answer = by_program(technician, code, act, *contents)
        assert answer.status_code == 422, answer.text
        assert list(answer.json()["fields"]) == [field]
    unread = technician.post(f"/api/v1/pairs/{code}/acts/photos", data={"act": "{"}, files=photos(EDGE))
    assert list(unread.json()["fields"]) == ["act"]
    assert by_program(program("quay clinician"), code, ASK, EDGE).status_code == 404
    assert (lab.at(code).holds, stored(app)) == ((), [])
