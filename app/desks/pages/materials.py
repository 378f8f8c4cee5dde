"""Materials and their lots: what there is, what is taken down and counted, and where a lot went."""

from collections.abc import Mapping
from datetime import date
from itertools import groupby
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.bench import queries
from app.bench.actions import holding, materials
from app.bench.queries import MaterialRow, NoticeRow, UseRow
from app.bench.rules.acts import ENDS
from app.bench.rules.machine import SIDE_WORDS
from app.bench.rules.materials import KINDS, UNITS, LotRow, amount_words, lot_payload, material_words
from app.bench.rules.stages import STAGES
from app.desks.rules import whole
from app.errors import BadInput, MovedOn, Refusal, Unready
from app.orders.rules import COVERS, MATERIALS
from app.paperwork.sheets import qr
from app.people import queries as people
from app.people.permissions import may, need
from app.people.rules import Viewer
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.trade import codes
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)
PAIRS = 100
"""Pairs of a lot on one page."""


@router.get("/materials")
def material_list(request: Request, ask: Signed, lot: str = "") -> Response:
    """What there is; with `lot`, the lots whose number begins like this, or those of the pair with this code."""
    lot = lot.replace("\0", "").strip()[:60]
    with ask.reading() as (viewer, db):
        need(viewer, "see_materials")
        found = _searched(db, viewer, lot) if lot else None
        if found is not None and len(found) == 1:
            return go(f"/materials/lots/{found[0].id}")
        values = _list_values(db, viewer)
    shown = None if found is None else [lot_words(each, viewer) for each in found]
    return page(request, "desks/materials.html", viewer=viewer, q=lot, found=shown, typed=Typed(), errors={}, **values)


def _searched(db: Session, viewer: Viewer, text: str) -> list[LotRow]:
    if not codes.is_code_like(text):
        return queries.lots_called(db, text)
    pair_id = queries.find(db, text, viewer).row["id"]
    return queries.lots(db, list({each.lot_id for each in queries.lots_of_pair(db, pair_id)}))


def _list_values(db: Session, viewer: Viewer) -> dict[str, Any]:
    today = clock.today(viewer.zone)
    return {
        "demo": people.lab(db).demo,
        "materials": [material_values(each, today) for each in queries.materials(db)],
        **_form_values(viewer),
    }


def _form_values(viewer: Viewer) -> dict[str, Any]:
    named = {key: words for key, words in (MATERIALS | COVERS).items() if key != "none"}
    return {
        "kinds": [(key, kind.words) for key, kind in KINDS.items()],
        "units": list(UNITS.items()),
        "named": list(named.items()),
        "may_keep": may(viewer, "keep_materials"),
    }


def material_values(row: MaterialRow, today: date) -> dict[str, Any]:
    """A material in words, for the list and its own page."""
    of = material_words(row.kind, row.material, row.thickness)
    size = f"{row.width_mm} × {row.length_mm} mm" if row.width_mm and row.length_mm else ""
    return row._asdict() | {
        "of": ", ".join(part for part in (KINDS[row.kind].words, of if KINDS[row.kind].item else "", size) if part),
        "kind_words": KINDS[row.kind].words,
        "there": amount_words(row.stock, row.unit),
        "takes": amount_words(row.per_side, row.unit),
        "below": amount_words(row.low, row.unit) if row.low else "",
        "little": row.lots > 0 and row.stock < row.low,
        "expired": row.expires_on is not None and row.expires_on < today,
    }


def lot_words(lot: LotRow, viewer: Viewer) -> dict[str, Any]:
    """A lot in words."""
    today = clock.today(viewer.zone)
    return lot._asdict() | {
        "there": amount_words(lot.stock, lot.unit),
        "expired": lot.expired(today),
        "can_begin": not lot.unfit(today),
    }


@router.post("/materials")
def add_material(request: Request, ask: Signed, form: Form) -> Response:
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "keep_materials")
            made = materials.add(db, by=viewer, typed=form)
    except BadInput as refusal:
        with ask.reading() as (viewer, db):
            values = _list_values(db, viewer)
        values |= {"q": "", "found": None, "typed": form, "errors": refusal.fields}
        return page(request, "desks/materials.html", viewer=viewer, status=422, **values)
    return go(f"/materials/{made}", "The material is taken down; add its lots as they come.")


@router.get("/materials/{material_id:int}")
def material(request: Request, material_id: int, ask: Signed) -> Response:
    return _material_page(request, ask, material_id)


def _material_page(
    request: Request, ask: Ask, material_id: int, refusal: BadInput | None = None, typed: Typed | None = None
) -> Response:
    """The material with its lots; `typed` is the form that was refused, of the material or of a lot."""
    with ask.reading() as (viewer, db):
        need(viewer, "see_materials")
        row = queries.material(db, material_id)
        values = {
            "demo": people.lab(db).demo,
            "material": material_values(row, clock.today(viewer.zone)),
            "lots": [lot_words(each, viewer) for each in queries.lots_of(db, material_id)],
            **_form_values(viewer),
        }
    return page(
        request,
        "desks/material.html",
        viewer=viewer,
        status=refusal.status if refusal else 200,
        errors=refusal.fields if refusal else {},
        typed=typed or Typed(),
        today=clock.today(viewer.zone),
        **values,
    )


@router.post("/materials/{material_id:int}")
def change_material(request: Request, material_id: int, ask: Signed, form: Form) -> Response:
    """Changes the material, or takes down a lot of it."""
    adds = form.get("act") == "lot"
    said = "The lot is taken down." if adds else "The material is saved."
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "keep_materials")
            if adds:
                materials.add_lot(db, by=viewer, material_id=material_id, typed=form)
            else:
                materials.change(db, by=viewer, material_id=material_id, typed=form)
    except BadInput as refusal:
        return _material_page(request, ask, material_id, refusal, form)
    return go(f"/materials/{material_id}", said)


@router.get("/materials/lots/{lot_id}")
def lot(request: Request, lot_id: int, ask: Signed, before: str = "") -> Response:
    return _lot_page(request, ask, lot_id, before=whole(before))


def _lot_page(
    request: Request,
    ask: Ask,
    lot_id: int,
    refusal: Refusal | None = None,
    typed: Typed | None = None,
    failed: str = "",
    before: int = 0,
) -> Response:
    """A lot and every pair that it went into, newest first; wearers by their chart labels alone."""
    with ask.reading() as (viewer, db):
        need(viewer, "see_materials")
        row = queries.lot(db, lot_id)
        uses, more = queries.uses_of_lot(db, lot_id, before=before or None, pairs=PAIRS)
        holds = queries.holds_of_lot(db, lot_id)
        values = {
            "demo": people.lab(db).demo,
            "lot": lot_words(row, viewer),
            "counted": queries.count_of_lot(db, lot_id),
            "pairs": [_in_pair(list(of)) for _, of in groupby(uses, lambda use: use.pair_id)],
            "before": before,
            "more": more,
            "holds": holds,
            "staff": people.staff_names(db, {id for each in holds for id in (each.held_by, each.lifted_by) if id}),
            "told": _by_clinic(queries.notices(db, hold_id=holds[0].id)) if holds else {},
            "parked": holding.still_parked(db, holds[0].id) if holds and not row.held else [],
            "may_keep": may(viewer, "keep_materials"),
            "may_hold": may(viewer, "hold_lot"),
        }
    fields = refusal.fields if isinstance(refusal, BadInput) else {}
    errors = fields or ({"": refusal.sentence} if refusal else {})
    values |= {"errors": errors, "typed": typed or Typed(), "failed": failed}
    return page(request, "desks/lot.html", viewer=viewer, status=refusal.status if refusal else 200, **values)


def _in_pair(uses: list[UseRow]) -> dict[str, Any]:
    """One pair of a lot: where it is, and which sides the lot is or was in."""
    first = uses[0]
    where = STAGES[first.pair_stage].queue if first.pair_stage else ENDS.get(str(first.end), str(first.end))
    lines = []
    for (stage, at, scrapped_at), of in groupby(uses, lambda use: (use.stage, use.at, use.scrapped_at)):
        sides = " and ".join(SIDE_WORDS[use.side] for use in of)
        lines.append((f"{STAGES[stage].done}, {sides}", at, scrapped_at))
    return {"code": first.code, "label": first.label, "clinic": first.clinic, "where": where, "lines": lines}


def _by_clinic(rows: list[NoticeRow]) -> Mapping[str, list[NoticeRow]]:
    found: dict[str, list[NoticeRow]] = {}
    for row in rows:
        found.setdefault(row.clinic, []).append(row)
    return found


@router.post("/materials/lots/{lot_id}")
def act_on_lot(request: Request, lot_id: int, ask: Signed, form: Form) -> Response:
    """Takes it into use or puts it away, corrects its stock, holds it or lifts the hold, lets pairs go on."""
    act = form.get("act", "")
    try:
        with ask.writing() as (viewer, db):
            need(viewer, "see_materials")
            said = _done_to_lot(db, viewer, lot_id, act, form)
            of = queries.lot(db, lot_id).material_id
    except (BadInput, Unready, MovedOn) as refusal:
        return _lot_page(request, ask, lot_id, refusal, form, act)
    return go(f"/materials/{of}" if form.get("back") == "material" else f"/materials/lots/{lot_id}", said)


def _done_to_lot(db: Session, viewer: Viewer, lot_id: int, act: str, form: Typed) -> str:
    reason = form.get("reason", "")
    if act == "hold":
        parked = holding.hold_lot(db, lot_id=lot_id, reason=reason, by=viewer)
        return f"The lot is held. {_stand_still(parked)} Each clinic has its list of wearers."
    if act == "lift":
        still = holding.lift(db, lot_id=lot_id, reason=reason, by=viewer)
        return f"The lot may be used again. {_stand_still(still)}"
    if act == "resume":
        gone_on = holding.resume_pairs(db, lot_id=lot_id, by=viewer)
        return f"No longer stopped by this lot: {', '.join(gone_on) or 'none'}."
    need(viewer, "keep_materials")
    if act == "use":
        instead = materials.take_into_use(db, by=viewer, lot_id=lot_id)
        return "The lot is in use: one tap at the bench notes it." + (f" Lot {instead} is put away." if instead else "")
    if act == "put_away":
        materials.put_away(db, by=viewer, lot_id=lot_id)
        return "The lot is put away; a tap at the bench no longer notes it."
    materials.correct(db, by=viewer, lot_id=lot_id, typed=form)
    return "The stock is corrected."


def _stand_still(parked: list[str]) -> str:
    if not parked:
        return "No pair stands still for it."
    return f"{len(parked)} {'pair stands' if len(parked) == 1 else 'pairs stand'} still for it."


@router.get("/materials/lots/{lot_id}/label")
def lot_label(request: Request, lot_id: int, ask: Signed) -> Response:
    """To be printed and put on the pack: scanned at a pair's page it picks the lot, elsewhere it opens its page."""
    with ask.reading() as (viewer, db):
        need(viewer, "see_materials")
        row = queries.lot(db, lot_id)
        demo = people.lab(db).demo
    payload = lot_payload(lot_id)
    values: dict[str, Any] = {"lot": lot_words(row, viewer), "demo": demo, "qr": qr(payload), "payload": payload}
    return page(request, "desks/lot_label.html", viewer=viewer, **values)
