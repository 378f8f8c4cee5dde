"""Who may do what, from the two tables that decide it."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.bench.rules.acts import (
    ACTS,
    OWN_BY_PLACE,
    TAKE_BACK_WITHIN,
    WAITING_ON,
    Act,
    owners,
)
from app.people import queries as people
from app.people.permissions import RIGHTS, Right, need
from app.people.rules import Role
from app.people.sessions import Signed
from app.templating import page

router = APIRouter(include_in_schema=False)


PLACE_WORDS = {"lab": "in the lab", "way": "on its way", "clinic": "at the clinic"}


@router.get("/people/rights")
def rights(request: Request, ask: Signed) -> Response:
    """Who may do what, from the two tables that decide it: permissions and acts. Nothing of it is written twice."""
    with ask.reading() as (viewer, db):
        need(viewer, "manage_people")
        demo = people.lab(db).demo
    rows = [(right.meaning, [_holds(right, role) for role in Role]) for right in RIGHTS.values()]
    acts = [(act.button, [_owns(act, role) for role in Role]) for act in ACTS.values()]
    return page(request, "desks/rights.html", viewer=viewer, demo=demo, roles=list(Role), rights=rows, acts=acts)


def _holds(right: Right, role: Role) -> str:
    """How far a role has a right, in the words of the rights page; empty if it has not."""
    if role not in right.roles:
        return ""
    return "at the own clinics" if right.own_clinics and role is Role.CLINICIAN else "yes"


def _owns(act: Act, role: Role) -> str:
    """The same of an act. Which role the work of a place belongs to is asked of the machine's own table."""
    if isinstance(act.owner, frozenset):
        return "yes" if role in act.owner else ""
    if act.owner == "own last act":
        return f"the own last act, within {TAKE_BACK_WITHIN.seconds // 60} min"
    if act.owner == "waited on":
        asked = [party for party in WAITING_ON if role in owners(act, None, "lab", frozenset({party}), False)]
        return f"if it waits on the {', '.join(asked)}"
    return ", ".join(PLACE_WORDS[place] for place, owner in OWN_BY_PLACE.items() if owner is role)
