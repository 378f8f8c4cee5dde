"""Where a manager keeps people: inviting them, their roles and clinics, a new password, the end of their access."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import BadInput, Refusal
from app.people import actions, queries
from app.people.pages.forms import ROLES, read_ids
from app.people.permissions import need
from app.people.queries import stations
from app.people.rules import Role
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.web import Form, Typed

router = APIRouter(prefix="/people")
NOTHING = Typed()


@router.get("")
def people(request: Request, ask: Signed) -> Response:
    return _people(request, ask)


def _people(
    request: Request, ask: Ask, typed: Typed = NOTHING, refusal: BadInput | None = None, link: str = ""
) -> Response:
    with ask.reading() as (viewer, db):
        need(viewer, "manage_people")
        values = _choices(db) | {"staff": queries.staff(db), "invitations": queries.open_invitations(db)}
    status, errors = (refusal.status, refusal.fields) if refusal else (200, {})
    return page(
        request, "people/people.html", viewer=viewer, status=status, typed=typed, errors=errors, link=link, **values
    )


def _choices(db: Session) -> dict[str, Any]:
    clinics = queries.clinics(db)
    return {
        "demo": queries.lab(db).demo,
        "clinic_names": {clinic.id: clinic.name for clinic in clinics},
        "clinic_list": [(str(clinic.id), clinic.name) for clinic in clinics],
        "roles": [(str(role), words) for role, words in ROLES.items()],
    }


@router.post("/invite")
def invite(request: Request, ask: Signed, form: Form) -> Response:
    """The link is shown once, on the page that answers; it is not kept anywhere in the clear."""
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "manage_people")
            token = actions.invite(
                db,
                by=viewer,
                email=form.get("email", ""),
                name=form.get("name", ""),
                roles=form.all("roles"),
                clinics=read_ids(form, "clinics"),
            )
    except BadInput as refusal:
        return _people(request, ask, form, refusal)
    return _people(request, ask, link=_address(request, token))


def _address(request: Request, token: str) -> str:
    return f"{request.base_url}invitation/{token}"


@router.post("/withdraw")
def withdraw_invitation(ask: Signed, form: Form) -> Response:
    email = form.get("email", "")
    with ask.writing() as (viewer, db):
        need(viewer, "manage_people")
        actions.withdraw_invitation(db, by=viewer, email=email)
    return go("/people", f"The invitation of {email} is withdrawn; its link does not work any more.")


@router.get("/{staff_id:int}")
def person(request: Request, staff_id: int, ask: Signed) -> Response:
    return _person(request, ask, staff_id)


def _person(
    request: Request,
    ask: Ask,
    staff_id: int,
    typed: Typed = NOTHING,
    refusal: Refusal | None = None,
    link: str = "",
) -> Response:
    """What is stored of a person; what was typed instead, where it was refused."""
    with ask.reading() as (viewer, db):
        need(viewer, "manage_people")
        row = queries.person(db, staff_id)
        values = _choices(db) | {"tokens": queries.tokens(db, staff_id)}
        values["signs_on"] = mine = stations.signs_on_with(db, staff_id)
        # A lab without a tablet sees nothing of badges.
        works = Role.TECHNICIAN in row.roles and stations.has_stations(db)
        values["at_bench"] = works or mine.badge_made_at is not None or mine.has_pin
    errors = refusal.fields if isinstance(refusal, BadInput) else {"": refusal.sentence} if refusal else {}
    chosen = typed if refusal and "confirm" not in typed else None
    return page(
        request,
        "people/person.html",
        viewer=viewer,
        status=refusal.status if refusal else 200,
        person=row,
        chosen_roles=chosen.all("roles") if chosen is not None else row.roles,
        chosen_clinics=chosen.all("clinics") if chosen is not None else [str(each) for each in row.clinics],
        typed=typed,
        errors=errors,
        link=link,
        **values,
    )


@router.post("/{staff_id:int}")
def change_person(request: Request, staff_id: int, ask: Signed, form: Form) -> Response:
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "manage_people")
            actions.change_staff(
                db, by=viewer, staff_id=staff_id, roles=form.all("roles"), clinics=read_ids(form, "clinics")
            )
            name = queries.person(db, staff_id).name
    except Refusal as refusal:
        return _refused(request, ask, staff_id, form, refusal)
    return go("/people", f"{name}: roles and clinics are saved.")


@router.post("/{staff_id:int}/end")
def end_access(request: Request, staff_id: int, ask: Signed, form: Form) -> Response:
    """Once the e-mail address is typed: it can't be undone, only followed by a new invitation."""
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "manage_people")
            who = queries.person(db, staff_id)
            _confirmed(form, who.email)
            actions.end_access(db, by=viewer, staff_id=staff_id)
    except Refusal as refusal:
        return _refused(request, ask, staff_id, form, refusal)
    return go("/people", f"{who.name} is signed out everywhere and can't come back in.")


def _confirmed(form: Typed, email: str) -> None:
    if form.get("confirm", "").strip().lower() != email:
        words = f"Type {email} to end this person's access."
        raise BadInput(words, {"confirm": words})


@router.post("/{staff_id:int}/password-link")
def password_link(request: Request, staff_id: int, ask: Signed) -> Response:
    """For who forgot the password; shown once, like an invitation."""
    with ask.writing() as (viewer, db):
        need(viewer, "manage_people")
        token = actions.password_link(db, by=viewer, staff_id=staff_id)
    return _person(request, ask, staff_id, link=_address(request, token))


@router.post("/{staff_id:int}/tokens")
def end_token(staff_id: int, ask: Signed, form: Form) -> Response:
    with ask.writing() as (viewer, db):
        need(viewer, "manage_people")
        name = actions.end_token(db, by=viewer, staff_id=staff_id, mark=form.get("token", ""))
    return go(
        f"/people/{staff_id}", f"The token {name or 'without a name'} is ended; programs that use it are refused."
    )


def _refused(request: Request, ask: Ask, staff_id: int, form: Typed, refusal: Refusal) -> Response:
    """The person's page says what stands in the way; who may not see it, or a person who is not there, has none."""
    if refusal.status not in (409, 422):
        raise refusal
    return _person(request, ask, staff_id, form, refusal)
