"""Signing in and out, the set-up and invitation links, and the pages where a manager keeps people, clinics and lab."""

from datetime import date, time
from typing import Any

import holidays
from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import BadInput, Refusal, SignedOut, TooManyTries
from app.people import actions, queries
from app.people.permissions import need
from app.people.rules import Role
from app.people.sessions import Signed, cookie_name, let_in, on_loopback
from app.templating import go, page
from app.trade import OutOfRange
from app.trade.worktime import WorkCalendar
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
OPTIONAL_STAGES = {
    "prepare": "Prepare: a scan is shaped before carving or milling",
    "correct": "Correct: the positive is worked on before pressing",
    "grind": "Grind: shell cut out, edges finished, posts",
    "inspect": "Inspect: a second look before a pair leaves",
}
ROLES = {
    Role.TECHNICIAN: "Technician: works at the bench",
    Role.CLINICIAN: "Clinician: orders, fits and reviews at the own clinics",
    Role.MANAGER: "Manager: people, settings, figures",
}


@router.get("/sign-in")
def sign_in_form(request: Request, then: str = "/") -> Response:
    with request.app.state.database.reading() as db:
        values = _door(db, request)
    return page(request, "people/sign_in.html", typed=Typed(), errors={}, then=_inside(then), **values)


@router.post("/sign-in")
def sign_in(request: Request, form: Form) -> Response:
    database, email = request.app.state.database, form.get("email", "")
    address = request.client.host if request.client else ""
    try:
        with database.reading() as db:
            actions.hold_back(db, email=email, address=address)
        with database.writing() as db:
            token = actions.sign_in(
                db,
                email=email,
                password=form.get("password", ""),
                browser=request.headers.get("user-agent", ""),
            )
    except (SignedOut, TooManyTries) as refusal:
        if isinstance(refusal, SignedOut):
            with database.writing() as db:
                actions.failed(db, email=email, address=address)
        with database.reading() as db:
            values = _door(db, request)
        errors = {"email": refusal.sentence}
        then = _inside(form.get("then", "/"))
        return page(
            request, "people/sign_in.html", status=refusal.status, typed=form, errors=errors, then=then, **values
        )
    return let_in(request, token, _inside(form.get("then", "/")))


def _door(db: Session, request: Request) -> dict[str, Any]:
    """What the sign-in page shows of the lab; the demo's one-click roles only where they work."""
    if not queries.is_set_up(db):
        return {"lab": None, "demo": False, "roles": []}
    lab = queries.lab(db)
    return {"lab": lab.name, "demo": lab.demo, "roles": list(Role) if lab.demo and on_loopback(request) else []}


def _inside(address: str) -> str:
    """Only an address of this site may be gone to after signing in."""
    return address if address.startswith("/") and not address.startswith(("//", "/\\")) else "/"


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    token = request.cookies.get(cookie_name(request))
    if token:
        with request.app.state.database.writing() as db:
            actions.sign_out(db, token=token)
    answer = go("/sign-in", "You are signed out.")
    answer.delete_cookie(cookie_name(request), path="/")
    return answer


@router.get("/set-up/{token}")
def set_up_form(request: Request, token: str) -> Response:
    with request.app.state.database.writing() as db:
        actions.find_link(db, token, "set_up")
    return page(request, "people/set_up.html", typed=_start(), errors={}, **_choices())


@router.post("/set-up/{token}")
def set_up(request: Request, token: str, form: Form) -> Response:
    try:
        lab = read_lab(form)
        clinics = read_clinics(form)
        with request.app.state.database.writing() as db:
            calendar = lab.pop("calendar")
            staff_id = actions.set_up_lab(
                db,
                token=token,
                clinics=clinics,
                person=_needed(form, "person", "Your name"),
                email=_needed(form, "email", "Your e-mail address"),
                password=form.get("password", ""),
                hours=calendar["hours"],
                country=calendar["country"],
                region=calendar["region"],
                **lab,
            )
            session = actions.start_session(db, staff_id)
    except BadInput as refusal:
        return page(request, "people/set_up.html", status=422, typed=form, errors=refusal.fields, **_choices())
    return let_in(request, session, "/", "The lab is set up, and you are signed in as its manager.")


def _needed(form: Typed, name: str, words: str) -> str:
    value = form.get(name, "").strip()
    if not value:
        raise BadInput(f"{words} is missing.", {name: f"{words} is missing."})
    return value


def _start() -> Typed:
    usual = [(f"from.{day}", "08:00") for day in range(5)] + [(f"to.{day}", "17:00") for day in range(5)]
    return Typed([*usual, ("zone", "Europe/Lisbon"), ("stages_on", "grind")])


def _choices() -> dict[str, Any]:
    countries = holidays.list_supported_countries()
    return {
        "weekdays": list(enumerate(WEEKDAYS)),
        "countries": [(code, code) for code in sorted(countries)],
        "stages": list(OPTIONAL_STAGES.items()),
    }


def read_lab(form: Typed) -> dict[str, Any]:
    """The lab's settings as typed, or every fault at its field."""
    wrong: dict[str, str] = {}
    name = form.get("name", "").strip()
    if not name:
        wrong["name"] = "The lab's name is missing."
    hours = [_spans(form, day, wrong) for day in range(7)]
    country, region = form.get("country", "").strip(), form.get("region", "").strip().upper()
    known = holidays.list_supported_countries()
    if country and country not in known:
        wrong["country"] = f"'{country[:20]}' is not a country whose public holidays are known; choose one of the list."
    elif region and region not in known.get(country, []):
        some = ", ".join(known.get(country, [])[:12]) or "none"
        wrong["region"] = f"'{region[:20]}' is not a region of {country or 'no country'}. Known: {some}."
    if not wrong:
        try:
            spans = tuple(
                tuple((time.fromisoformat(start), time.fromisoformat(end)) for start, end in day) for day in hours
            )
            WorkCalendar(form.get("zone", ""), spans)
        except OutOfRange as fault:
            wrong["zone" if fault.field == "zone" else "from.0"] = str(fault)
    stages = [stage for stage in form.all("stages_on") if stage in OPTIONAL_STAGES]
    closures = _closures(form.get("closures", ""), wrong)
    if wrong:
        raise BadInput("The lab's settings need another look.", wrong)
    return {
        "name": name,
        "address": form.get("address", "").strip(),
        "phone": form.get("phone", "").strip(),
        "zone": form.get("zone", ""),
        "stages_on": stages,
        "calendar": {"hours": hours, "country": country, "region": region, "closures": closures},
    }


def _spans(form: Typed, day: int, wrong: dict[str, str]) -> list[list[str]]:
    """One weekday's open spans; both fields empty is a day off, a break splits the day."""
    ends = [form.get(f"{name}.{day}", "").strip() for name in ("from", "pause", "again", "to")]
    if not any(ends):
        return []
    try:
        start, pause, again, end = (time.fromisoformat(text) if text else None for text in ends)
    except ValueError:
        wrong[f"from.{day}"] = f"{WEEKDAYS[day]}: times read like 08:30."
        return []
    if start is None or end is None or (pause is None) is not (again is None):
        wrong[f"from.{day}"] = f"{WEEKDAYS[day]}: a beginning goes with an end, and a break with both of its times."
        return []
    edges = [start, pause, again, end] if pause and again else [start, end]
    if edges != sorted(set(edges)):
        wrong[f"from.{day}"] = f"{WEEKDAYS[day]}: the times have to follow each other."
        return []
    words = [f"{edge:%H:%M}" for edge in edges]
    return [words[:2], words[2:]] if len(words) == 4 else [words]


def _closures(text: str, wrong: dict[str, str]) -> list[str]:
    try:
        return sorted({date.fromisoformat(word).isoformat() for word in text.replace(",", " ").split()})
    except ValueError:
        wrong["closures"] = "Closed days read like 2026-12-24, with blanks between them."
        return []


def read_clinics(form: Typed) -> list[dict[str, Any]]:
    """The rows of the set-up's clinic table that have a name."""
    rows: list[dict[str, Any]] = []
    for n in range(6):
        name = form.get(f"clinic.{n}", "").strip()
        if name:
            rows.append({"name": name, "by_parcel": f"parcel.{n}" in form, "trims": f"trims.{n}" in form})
    names = [row["name"].lower() for row in rows]
    if not rows or len(set(names)) < len(names):
        words = "Name at least one clinic, each with a name of its own."
        raise BadInput(words, {"clinic.0": words})
    return rows


@router.get("/invitation/{token}")
def invitation_form(request: Request, token: str) -> Response:
    with request.app.state.database.writing() as db:
        link = actions.find_link(db, token, "invitation")
        name, email = link.name, link.email
    return page(request, "people/invitation.html", name=name, email=email, errors={})


@router.post("/invitation/{token}")
def accept_invitation(request: Request, token: str, form: Form) -> Response:
    try:
        with request.app.state.database.writing() as db:
            link = actions.find_link(db, token, "invitation")
            name, email = link.name, link.email
            staff_id = actions.accept_invitation(db, token=token, password=form.get("password", ""))
            session = actions.start_session(db, staff_id)
    except BadInput as refusal:
        return page(request, "people/invitation.html", status=422, name=name, email=email, errors=refusal.fields)
    return let_in(request, session, "/", f"Welcome, {name}.")


@router.get("/people")
def people(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "manage_people")
        values = _people(db)
    return page(request, "people/people.html", viewer=viewer, typed=Typed(), errors={}, link="", **values)


def _people(db: Session) -> dict[str, Any]:
    clinics = queries.clinics(db)
    return {
        "demo": queries.lab(db).demo,
        "staff": queries.staff(db),
        "invitations": queries.open_invitations(db),
        "clinics": clinics,
        "clinic_names": {clinic.id: clinic.name for clinic in clinics},
        "clinic_list": [(str(clinic.id), clinic.name) for clinic in clinics],
        "roles": [(str(role), words) for role, words in ROLES.items()],
    }


@router.post("/people/invite")
def invite(request: Request, ask: Signed, form: Form) -> Response:
    """The link is shown once, on the page that answers; it is not kept anywhere in the clear."""
    link, errors = "", {}
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "manage_people")
            token = actions.invite(
                db,
                by=viewer,
                email=form.get("email", ""),
                name=form.get("name", ""),
                roles=form.all("roles"),
                clinics=_ids(form),
            )
        link = f"{request.base_url}invitation/{token}"
    except BadInput as refusal:
        errors = refusal.fields
    with ask.reading() as (viewer, db):
        values = _people(db)
    typed = form if errors else Typed()
    status = 422 if errors else 200
    return page(
        request, "people/people.html", viewer=viewer, status=status, typed=typed, errors=errors, link=link, **values
    )


def _ids(form: Typed) -> list[int]:
    return [int(value) for value in form.all("clinics") if value.isdigit()]


@router.get("/people/{staff_id}")
def person(request: Request, staff_id: int, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "manage_people")
        values = _people(db) | {"person": queries.person(db, staff_id)}
    return page(request, "people/person.html", viewer=viewer, errors={}, **values)


@router.post("/people/{staff_id}")
def change_person(request: Request, staff_id: int, ask: Signed, form: Form) -> Response:
    """Other roles and clinics, or the end of access once the e-mail address is typed."""
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "manage_people")
            who = queries.person(db, staff_id)
            if form.get("act") == "end":
                if form.get("confirm", "").strip().lower() != who.email:
                    words = f"Type {who.email} to end this person's access."
                    raise BadInput(words, {"confirm": words})
                actions.end_access(db, by=viewer, staff_id=staff_id)
            else:
                actions.change_staff(db, by=viewer, staff_id=staff_id, roles=form.all("roles"), clinics=_ids(form))
    except Refusal as refusal:
        if refusal.status not in (409, 422):
            raise
        with ask.reading() as (viewer, db):
            values = _people(db) | {"person": queries.person(db, staff_id)}
        errors = refusal.fields if isinstance(refusal, BadInput) else {"": refusal.sentence}
        return page(request, "people/person.html", viewer=viewer, status=refusal.status, errors=errors, **values)
    said = f"{who.name} is signed out everywhere and can't come back in." if form.get("act") == "end" else "Saved."
    return go("/people", said)


@router.get("/lab")
def lab_form(request: Request, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "manage_lab")
        typed, values = _lab_typed(db), _lab_values(db)
    return page(request, "people/lab.html", viewer=viewer, typed=typed, errors={}, **values)


def _lab_values(db: Session) -> dict[str, Any]:
    return _choices() | {"demo": queries.lab(db).demo, "clinics": queries.clinics(db)}


def _lab_typed(db: Session) -> Typed:
    lab, calendar = queries.lab(db), queries.calendar_row(db)
    pairs = [(key, str(getattr(lab, key))) for key in ("name", "address", "phone", "zone")]
    pairs += [("country", calendar.country), ("region", calendar.region), ("closures", " ".join(calendar.closures))]
    pairs += [("stages_on", stage) for stage in lab.stages_on]
    for day, spans in enumerate(calendar.hours):
        if spans:
            pairs += [(f"from.{day}", spans[0][0]), (f"to.{day}", spans[-1][1])]
        if len(spans) == 2:
            pairs += [(f"pause.{day}", spans[0][1]), (f"again.{day}", spans[1][0])]
    return Typed(pairs)


@router.post("/lab")
def change_lab(request: Request, ask: Signed, form: Form) -> Response:
    try:
        lab = read_lab(form)
        with ask.writing() as (viewer, db):
            need(viewer, "manage_lab")
            actions.change_lab(db, by=viewer, calendar=lab.pop("calendar"), **lab)
    except BadInput as refusal:
        with ask.reading() as (viewer, db):
            need(viewer, "manage_lab")
            values = _lab_values(db)
        return page(request, "people/lab.html", viewer=viewer, status=422, typed=form, errors=refusal.fields, **values)
    return go("/lab", "The lab's settings are saved.")


@router.post("/lab/clinics")
def keep_clinic(request: Request, ask: Signed, form: Form) -> Response:
    clinic_id = form.get("clinic_id", "")
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "manage_lab")
            actions.keep_clinic(
                db,
                by=viewer,
                clinic_id=int(clinic_id) if clinic_id.isdigit() else None,
                name=form.get("clinic", ""),
                address=form.get("clinic_address", "").strip(),
                phone=form.get("clinic_phone", "").strip(),
                by_parcel="by_parcel" in form,
                trims="trims" in form,
            )
    except BadInput as refusal:
        with ask.reading() as (viewer, db):
            typed, values = _lab_typed(db), _lab_values(db)
        errors = {"clinic": refusal.sentence}
        return page(request, "people/lab.html", viewer=viewer, status=422, typed=typed, errors=errors, **values)
    return go("/lab", "The clinic is saved.")
