"""The pair page, the one door by which pages do acts, and a changed prescription."""

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.bench import actions as bench
from app.bench import queries
from app.bench.queries import Loaded
from app.bench.rules import figures
from app.bench.rules.acts import (
    ACTS,
    ENDS,
    PARK_REASONS,
    RECAPTURE_REASONS,
    REMAKE_REASONS,
    SEND_BACK_REASONS,
    WAITING_ON,
)
from app.bench.rules.belongings import BELONGINGS, FATES, PLACES, words_of
from app.bench.rules.machine import SIDE_WORDS, Asked, State
from app.bench.rules.materials import HELD
from app.bench.rules.stages import STAGES
from app.capture import queries as captures
from app.capture.queries import positives
from app.capture.rules import CONDITIONS, KINDS, STATES, measure_rows, scan_cautions, why_no_scan
from app.desks import actions
from app.desks.actions.positives import why_gone
from app.desks.charts import pair_trail
from app.desks.pages.common import NOTE_STAGES, lab_values
from app.desks.pages.drafting import as_lists
from app.desks.pages.lots import lot_values
from app.desks.pages.photos import MOST_BYTES, Sent, photo_values, sent_photos, within_limits
from app.desks.queries import buttons, sentence, wearer
from app.desks.queries.promise import pair_promise
from app.desks.rules import REMAKE_STARTS, answers_from_form, as_typed, prescription_from_form, stage_notes, whole
from app.desks.rules.telling import prescription_rows, was_words
from app.errors import BadInput, KeyUsedForAnother, MovedOn, NotFound, Refusal
from app.fitting import queries as fitting
from app.fitting.queries.together import next_at_appointment
from app.fitting.rules import facts_from_form
from app.fitting.rules.fit import HELD_BACK
from app.fitting.rules.review import HOLDS_IT
from app.orders import queries as orders
from app.orders.rules import ITEMS, SIDE_NAMES, dues
from app.orders.rules.checks import Unanswered
from app.paperwork.queries import stage_figures
from app.people import queries as people
from app.people.permissions import may, need
from app.people.rules import Viewer
from app.people.sessions import Ask, Signed
from app.templating import go, page
from app.turnaround.queries import forecast
from app.watch import queries as watch
from app.watch.rules.kinds import KINDS as KINDS_OF_FLAG
from app.web import Form, Typed

router = APIRouter(include_in_schema=False)
SETTING_TIMES = (15, 30, 45, 60, 90, 120, 720)
"""Minutes that the form offers beside the stage's usual ones."""
NO_FILES: Mapping[str, str] = {}


@router.get("/pair/{code}")
def pair(request: Request, code: str, ask: Signed, arrived: str = "") -> Response:
    """`arrived` says that what is checked in is in the hands of who asks: its form is open."""
    with ask.reading() as (viewer, db):
        loaded = queries.find(db, code, viewer)
        values = _pair_values(db, viewer, loaded)
        if values["wearer"] or values["photos"]:
            ask.note_reading(loaded.row["patient_id"])
    return page(request, "desks/pair.html", viewer=viewer, arrived=bool(arrived), **values)


@router.post("/pair/{code}/acts", max_body_size=MOST_BYTES, dependencies=[Depends(within_limits)])
def act_on_pair(
    request: Request, code: str, ask: Signed, form: Form, sent: Annotated[Sent, Depends(sent_photos)]
) -> Response:
    """Every act of every page. A refusal shows the pair as it is now, with the sentence and what was typed."""
    if form.get("more"):
        return shown_again(request, ask, code, None, form, "adjust")
    asked = _asked(form)
    try:
        done = _do(ask, code, asked, form, sent)
    except (NotFound, Refusal) as refusal:
        if refusal.status in (401, 404):
            raise
        failed = "held_back" if form.get("fit_check") and asked.act in HELD_BACK else asked.act
        return shown_again(request, ask, code, refusal, form, failed, sent.once_more())
    where = f"It now stands at {STAGES[done['stage']].queue}." if done["stage"] else f"It is {ENDS[done['end']]}."
    if following := done["following"]:
        said = f"{done['code']}: {ACTS[asked.act].done}. {where} Next at this appointment: {following}."
        return go(f"/pair/{following}#fitting", said)
    back = form.get("back", "")
    address = back if back.startswith("/queue/") and back.split("/")[-1] in STAGES else f"/pair/{done['code']}"
    return go(address, f"{done['code']}: {ACTS[asked.act].done}. {where}")


def _do(ask: Ask, code: str, asked: Asked, form: Typed, sent: Sent) -> Mapping[str, Any]:
    """Once for a form that has a key, however often it is sent; answers where the pair stands afterwards."""
    storage = ask.request.app.state.storage
    body = {"code": code, "form": form.pairs, "photos": [photo.sha256 for photo in sent.photos]}
    with ask.writing() as (viewer, db):

        def act() -> dict[str, Any]:
            moved = actions.do_with_photos(db, storage, code=code, asked=asked, photos=sent.photos, by=viewer)
            sent.refuse_faults()  # after the act's own, so that everything wrong with a form is named at once
            following = next_at_appointment(db, moved.pair_id) if asked.act in HOLDS_IT else ""
            state = moved.state
            return {"code": state.code, "stage": state.stage, "end": state.end, "following": following}

        try:
            return bench.once(db, staff_id=viewer.staff_id, key=form.get("key") or None, body=body, act=act)[1]
        except KeyUsedForAnother:
            words = "This form was sent before, with something else in it. Look at what happened since; then send it."
            raise MovedOn(words) from None


def _asked(form: Typed) -> Asked:
    """The act a form asks for. A fit check's form holds several acts, whose fields have names of their own there."""
    act = form.get("act", "")
    from_check = bool(form.get("fit_check")) and act in HELD_BACK
    own = f"{act}." if from_check else ""
    facts: dict[str, Any] = {}
    if words := form.get("held_back.words" if from_check else "words"):
        facts["words"] = words
    if form.get("code"):
        facts["code"] = form["code"]
    if form.get("from_stage") == "check_in" and act == "advance":
        facts["shelf"] = form.get("shelf", "")
        facts |= {name: form.all(name) for name in ("conditions", "belongings")}
    if form.get("day"):
        facts["day"] = form["day"]
    facts |= facts_from_form(act, form)
    if form.get("start"):
        facts["start"] = form["start"]
    if act == "remake" and (seen := answers_from_form(form).seen):
        facts["acknowledged"] = sorted(seen)
    if act == "ask" and form.get("before"):
        facts["before"] = form["before"]
    if act == "answer" and "stays" in form:
        facts["stays"] = True
    if form.get("holds"):
        facts["holds"] = [int(form["holds"])] if form["holds"].isdigit() else []
    if picked := [whole(number) for number in form.all("lots") if number]:
        facts["lots"] = picked
    if form.get("sets_for"):
        facts["sets_for"] = whole(form["sets_for"]) or form["sets_for"]
    version = form.get("version", "")
    return Asked(
        act=act,
        from_stage=form.get("from_stage") or None,
        to_stage=form.get(f"{own}to_stage") or None,
        sides=form.get(f"{own}sides") or None,
        reason=form.get(f"{own}reason") or None,
        waiting_on=form.get(f"{own}waiting_on") or None,
        version=int(version) if version.isdigit() else None,
        facts=facts,
    )


def shown_again(
    request: Request,
    ask: Ask,
    code: str,
    refusal: Refusal | None,
    typed: Typed,
    failed: str,
    files: Mapping[str, str] = NO_FILES,
) -> Response:
    """The pair as it is now, with why `failed` (an act, a belonging, a scan's field) was refused and what was typed.

    Without a refusal somebody asked for more rows of a form. `files` says at a field of files what becomes of them.
    """
    with ask.reading() as (viewer, db):
        values = _pair_values(db, viewer, queries.find(db, code, viewer))
    fields = refusal.fields if isinstance(refusal, BadInput) else {}
    if refusal and files:
        fields = dict(files) | (fields or {"": refusal.sentence})
    values |= {"refused": refusal.sentence if refusal else "", "errors": fields, "typed": typed, "failed": failed}
    values["findings"] = refusal.findings if isinstance(refusal, Unanswered) else ()
    status = refusal.status if refusal else 200
    return page(request, "desks/pair.html", viewer=viewer, status=status, **values)


def _pair_values(db: Session, viewer: Viewer, loaded: Loaded) -> dict[str, Any]:
    values = lab_values(db)
    row, state = loaded.row, loaded.state
    moves = queries.history(db, row["id"])
    checks = fitting.fit_checks(db, moves)
    holding = orders.holding(db, row["order_id"])
    holds = queries.hold_rows(db, row["id"]) if row["open_holds"] else []
    return values | {
        "pair": row,
        "state": state,
        "clinic": people.clinic(db, row["clinic_id"]).name,
        "steps": pair_trail(loaded, queries.stays(db, row["id"]), values["calendar"], clock.now()),
        "buttons": buttons(loaded, viewer, moves, clock.now(), people.lab(db).marks_start),
        "begun_by": people.staff_names(db, [row["started_by"]]).get(row["started_by"]) if row["started_by"] else "",
        "holds": holds,
        "moves": [(move.id, sentence(move), " ".join(said_of(move, checks)), move.at) for move in moves],
        **photo_values(db, viewer, loaded),
        **_prescribed(db, row["order_id"], holding.body, viewer.units),
        "number": holding.number,
        "stage_notes": orders.words(db, list(holding.stage_notes.values())),
        "notes_at": holding.stage_notes,
        "stages": STAGES,
        "ends": ENDS,
        "park_reasons": PARK_REASONS,
        "park_list": [(key, words) for key, words in PARK_REASONS.items() if key != HELD],
        "send_back_reasons": SEND_BACK_REASONS,
        "waiting_list": [(party, f"the {party}") for party in WAITING_ON],
        "sides_list": [(sides, SIDE_WORDS[sides]) for sides in ("LR", "L", "R") if set(sides) <= set(state.all_sides)],
        "back_list": [(key, STAGES[key].queue) for key in state.route[: _furthest(state)]],
        "hold_list": [(str(hold.id), hold.words or hold.kind) for hold in holds],
        "stopping": {hold.id for hold in state.stopping},
        "before_list": [(key, f"before {STAGES[key].queue}") for key in _still_to_come(state)],
        **_capture_values(db, viewer, loaded),
        **_positive_values(db, viewer, loaded),
        "stage_sheets": [(figures.TITLES[stage], rows) for stage, rows in stage_figures(db, loaded)],
        "wearer": wearer(db, loaded, viewer.units) if may(viewer, "see_patient", row["clinic_id"]) else [],
        "checks": orders.checks(db, row["order_id"]) if may(viewer, "see_patient", row["clinic_id"]) else [],
        "may_transfer": may(viewer, "transfer_wearer"),
        "may_see_journal": may(viewer, "see_journal"),
        "may_change": may(viewer, "place_order", row["clinic_id"]),
        "flags": watch.of_pair(db, row["id"], viewer),
        "kinds": KINDS_OF_FLAG,
        "fitting": fitting.pair_view(db, loaded, viewer),
        "outcomes": fitting.outcomes_after(db, loaded, viewer),
        "recapture_reasons": list(RECAPTURE_REASONS.items()),
        "one_side_list": [(side, SIDE_WORDS[side]) for side in state.all_sides],
        "remake_reasons": list(REMAKE_REASONS.items()),
        "starts": list(REMAKE_STARTS.items()),
        "conditions": list(CONDITIONS.items()),
        "belongings": list(BELONGINGS.items()),
        "setting_times": SETTING_TIMES,
        "setting_until": row["not_before"] if row["not_before"] and row["not_before"] > clock.now() else None,
        **_belonging_values(db, viewer, loaded),
        "dues": _dues_of(db, viewer, loaded),
        "promise": pair_promise(db, loaded),
        "foretold": forecast.of_pair(db, row["id"]) if row["place"] != "clinic" else None,
        **lot_values(db, viewer, loaded, holding.body),
        "refused": "",
        "findings": (),
        "errors": {},
        "typed": Typed(),
        "failed": "",
    }


def _dues_of(db: Session, viewer: Viewer, loaded: Loaded) -> dict[str, Any] | None:
    """How approval and payment stand, for who may note them."""
    if not may(viewer, "note_dues", loaded.row["clinic_id"]):
        return None
    order, _ = orders.order_and_patient(db, loaded.row["order_id"])
    return {
        "words": dues.words(order.dues),
        "open": dues.open_dues(order.dues, people.clinic(db, loaded.row["clinic_id"]).waits_for),
        "typed": {f"dues.{name}": value for name, value in order.dues.items()},
        "approvals": list(dues.APPROVALS.items()),
        "payments": list(dues.PAYMENTS.items()),
    }


def _prescribed(db: Session, order_id: int, body: Mapping[str, Mapping[str, Any]], units: str) -> dict[str, Any]:
    """The prescription by side and, where it repeats an earlier pair's, which one and what each change was there."""
    earlier = orders.repeated(db, order_id)
    if earlier is None:
        return {"rows": prescription_rows(body, units), "was": {}, "repeats": ""}
    here = {side: items for side, items in earlier.body.items() if side in body}
    return {
        "rows": prescription_rows(body, units, here),
        "was": was_words(body, here, units),
        "repeats": queries.codes_of(db, [earlier.order_id], by="order_id")[earlier.order_id][0],
    }


def said_of(move: queries.MoveRow, checks: Mapping[int, str]) -> list[str]:
    """The words of a move, and of the fit check that it came from."""
    return [words for words in (move.words, checks.get(move.id)) if words]


def _belonging_values(db: Session, viewer: Viewer, loaded: Loaded) -> dict[str, Any]:
    """What came with the pair, where each is and what became of it, and what this person may say of it."""
    things = queries.belongings(db, [loaded.row["id"]])
    ways = queries.travelling(db, pair_ids=[loaded.row["id"]]) if things else []
    odd = {each.id: f"{each.state} in parcel {each.parcel_id}" for each in ways if each.state in ("missing", "damaged")}
    on_the_way = loaded.row["place"] == "way"
    return {
        "things": [
            (each, words_of(each.kind, each.side), PLACES[each.place], FATES[each.becomes].words, odd.get(each.id, ""))
            for each in things
        ],
        "fates": [(key, fate.words) for key, fate in FATES.items() if key != "in_parcel" or on_the_way],
        "may_settle": may(viewer, "settle_belonging", loaded.row["clinic_id"]),
        "thing_sides": list(SIDE_WORDS.items())[::-1],
    }


def _capture_values(db: Session, viewer: Viewer, loaded: Loaded) -> dict[str, Any]:
    """What each side is worked from, what its scan measures, and to which sides this person may add a file now."""
    order_id = loaded.row["order_id"]
    rows, scans = captures.of_order(db, order_id), captures.scans_of_order(db, order_id)
    meshes = {side: scan.mesh for side, scan in scans.items()}
    may_add = not loaded.state.end and may(viewer, "add_scan", loaded.row["clinic_id"])
    return {
        "in_a_box": loaded.state.stage == "check_in" and any(row.kind != "scan" for row in rows),
        "captures": [
            (
                SIDE_WORDS[each.side],
                f"{KINDS[each.kind]}, {STATES[each.state]}{', shelf ' + each.shelf if each.shelf else ''}",
            )
            for each in rows
        ],
        "scans": [(side, SIDE_WORDS[side], scan) for side, scan in scans.items()],
        "measure_rows": measure_rows(meshes, viewer.units),
        "scan_cautions": scan_cautions(meshes, viewer.units),
        "scan_doors": [
            (each.side, SIDE_WORDS[each.side], each.file_key is not None)
            for each in rows
            if may_add and why_no_scan(each.kind, each.state, each.file_key is not None) is None
        ],
    }


def _positive_values(db: Session, viewer: Viewer, loaded: Loaded) -> dict[str, Any]:
    """What stands on the shelf of what this pair was pressed over, and why one no longer serves."""
    today = clock.today(viewer.zone)
    return {
        "positives": [
            (side, SIDE_WORDS[side], each, each.kept(today), why_gone(each))
            for side, each in positives.of_order(db, loaded.row["order_id"]).items()
        ],
        "may_keep": may(viewer, "keep_positive", loaded.row["clinic_id"]),
    }


def _furthest(state: State) -> int:
    """How far the side that is ahead has come along the route."""
    return max((state.route.index(stage) for stage in state.sides.values()), default=0)


def _still_to_come(state: State) -> tuple[str, ...]:
    return state.route[state.route.index(state.stage) + 1 :] if state.stage in state.route else ()


@router.get("/pair/{code}/prescription")
def prescription_form(request: Request, code: str, ask: Signed) -> Response:
    with ask.reading() as (viewer, db):
        loaded = queries.find(db, code, viewer)
        need(viewer, "place_order", loaded.row["clinic_id"])
        holding = orders.holding(db, loaded.row["order_id"])
        notes = orders.words(db, list(holding.stage_notes.values()))
        typed = as_typed(
            holding.body,
            {f"note.{key}": notes.get(note, "") for key, note in holding.stage_notes.items()},
            viewer.units,
        )
        values = _prescription_values(db, loaded)
    return page(request, "desks/prescription.html", viewer=viewer, typed=typed, errors={}, **values)


def _prescription_values(db: Session, loaded: Loaded) -> dict[str, Any]:
    return lab_values(db) | {
        "state": loaded.state,
        "pair": loaded.row,
        "items": list(ITEMS.values()),
        "sides_made": [(side, SIDE_NAMES[side]) for side in loaded.state.all_sides],
        "note_stages": NOTE_STAGES,
        "on_bench": loaded.state.stage not in (None, "check_in"),
        "findings": (),
    }


@router.post("/pair/{code}/prescription")
def change_prescription(request: Request, code: str, ask: Signed, form: Form) -> Response:
    """The next version; on the bench the pair stands still until a technician has chosen what becomes of it."""
    typed = as_lists(form)
    version = form.get("version", "")
    try:
        with ask.writing() as (viewer, db):
            loaded = queries.find(db, code, viewer)
            need(viewer, "place_order", loaded.row["clinic_id"])
            body = prescription_from_form(typed, loaded.state.all_sides)
            moved = bench.amend(
                db,
                code=code,
                by=viewer,
                body=body,
                stage_notes=stage_notes(typed),
                version=int(version) if version.isdigit() else None,
                words=form.get("words", ""),
                answers=answers_from_form(typed),
            )
            number = orders.holding(db, moved.order_id).number
    except Refusal as refusal:
        if refusal.status in (401, 403, 404):
            raise
        with ask.reading() as (viewer, db):
            values = _prescription_values(db, queries.find(db, code, viewer))
        values["findings"] = refusal.findings if isinstance(refusal, Unanswered) else ()
        errors = refusal.fields if isinstance(refusal, BadInput) else {"": refusal.sentence}
        return page(
            request,
            "desks/prescription.html",
            viewer=viewer,
            status=refusal.status,
            typed=typed,
            errors=errors,
            **values,
        )
    stands = " The pair stands still until the lab has chosen what becomes of it." if moved.state.holds else ""
    return go(f"/pair/{moved.state.code}", f"Prescription {number} holds now.{stands}")
