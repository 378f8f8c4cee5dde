"""What the page of stance shows, as plain values: its forms as they are filled, what is compared, what was measured."""

from datetime import datetime
from typing import Any

from app.bench.rules.machine import SIDE_WORDS
from app.fitting.queries.stance import MeasureRow
from app.fitting.rules import stance
from app.fitting.tables import StancePhoto


def forms(
    since: datetime, holding: list[MeasureRow], photos: list[StancePhoto], sides: list[tuple[str, str]]
) -> list[dict[str, Any]]:
    """The page's forms: each way the photo to be marked, with what was marked in it; the rest empty.

    That is the latest of this day (`since` its beginning), or an earlier one in which nothing was marked yet.
    """
    made = []
    marked_in = {row.photo_id for row in holding}
    for devices in stance.WAYS:
        own = [photo for photo in photos if photo.with_devices == (devices == "with")]
        photo = own[-1] if own and (own[-1].uploaded_at >= since or own[-1].id not in marked_in) else None
        marked = [row for row in holding if photo and row.photo_id == photo.id]
        form = {"key": devices, "kind": "angles", "devices": devices, "photo": photo, "sides": sides, "replaces": ""}
        # The angles come with the points, by the script; typed ones beside them would be a second measure.
        made.append(form | _filled(marked, "metric") | {"values": {}})
    for kind in stance.KINDS:
        if kind not in stance.EITHER_WAY:
            form = {"key": kind, "kind": kind, "devices": "", "photo": None, "sides": sides, "replaces": ""}
            made.append(form | _filled([], "metric"))
    return made


def form_of(row: MeasureRow, photos: list[StancePhoto], units: str) -> dict[str, Any]:
    """The form of one measure, as it was filled in."""
    devices = "with" if row.with_devices else "without"
    return {
        "key": devices if row.kind in stance.EITHER_WAY else row.kind,
        "kind": row.kind,
        "devices": devices,
        "photo": next((photo for photo in photos if photo.id == row.photo_id), None),
        "sides": [(row.side, SIDE_WORDS[row.side])],
        "replaces": str(row.id),
    } | _filled([row], units)


def _filled(rows: list[MeasureRow], units: str) -> dict[str, Any]:
    """What the fields of these measures hold, and the points that were marked, as the form writes them."""
    values: dict[str, str] = {}
    points: dict[str, str] = {}
    plumb = ""
    for row in rows:
        shown = stance.typed_values(row.kind, row.side, row.found, units)
        values |= {f"{row.side}.{name}": text for name, text in shown.items()}
        if "leg" in row.found:
            points[row.side] = stance.points_text([*row.found["leg"], *row.found["heel"]])
            plumb = stance.points_text(row.found.get("plumb", []))
    return {"values": values, "points": points, "plumb": plumb}


def compared(side: str, holding: list[MeasureRow]) -> dict[str, Any]:
    """The latest angles of a side without and with devices, and what the devices change."""
    latest = {row.with_devices: row for row in holding if row.kind == "angles" and row.side == side}
    found = {with_: stance.figures("angles", side, row.found) for with_, row in latest.items()}
    rows = []
    for name, label in stance.KINDS["angles"].figures.items():
        without, with_ = (found[way][name] if way in found else None for way in (False, True))
        words = [
            stance.figure_words(name, value, "metric") if value is not None else None for value in (without, with_)
        ]
        change = stance.difference_words(without, with_) if without is not None and with_ is not None else None
        rows.append((label, *words, change))
    return {"rows": rows if latest else [], "at": [latest[way].at if way in latest else None for way in (False, True)]}


def _degrees(name: str, value: float | None) -> str | None:
    return None if value is None else stance.figure_words(name, value, "metric")


def totals(holding: list[MeasureRow], units: str) -> list[tuple[str, str | None, str | None]]:
    """The latest of what is taken barefoot: name, left, right."""
    latest = {(row.kind, row.side): row for row in holding if row.kind not in stance.EITHER_WAY}
    found = []
    for kind, made in stance.KINDS.items():
        for name, label in made.figures.items():
            words = {
                side: stance.figure_words(name, stance.figures(kind, side, row.found)[name], units)
                for side in "LR"
                if (row := latest.get((kind, side)))
            }
            if words:
                found.append((label, words.get("L"), words.get("R")))
    return found


def in_short(rows: list[MeasureRow], sides: str) -> list[str]:
    """A line for each side that was measured: its heel without and with devices, and its posture."""
    lines = []
    for side in sides:
        latest = {(row.kind, row.with_devices): row for row in rows if row.side == side and not row.replaced}
        parts = [
            f"heel {stance.figure_words('heel_deg', stance.stance_of(side, row.found).heel_deg, 'metric')} {way}"
            for with_, way in ((False, "without devices"), (True, "with devices"))
            if (row := latest.get(("angles", with_)))
        ]
        if posture := latest.get(("posture", False)):
            total = stance.figures("posture", side, posture.found)["total"]
            parts.append(f"Foot Posture Index {stance.figure_words('total', total, 'metric')}")
        if parts:
            lines.append(f"{SIDE_WORDS[side].capitalize()}: {'; '.join(parts)}.")
    return lines


def listed(row: MeasureRow, units: str) -> dict[str, Any]:
    made = stance.KINDS[row.kind]
    shown = stance.figures(row.kind, row.side, row.found)
    way = f", {stance.WAYS['with' if row.with_devices else 'without'].lower()}" if row.kind in stance.EITHER_WAY else ""
    said = [f"{made.figures[name].lower()} {stance.figure_words(name, value, units)}" for name, value in shown.items()]
    return {
        "row": row,
        "what": f"{SIDE_WORDS[row.side].capitalize()}{way}",
        "words": "; ".join([*said, *filter(None, [stance.slip_words(row.found)])]),
    }
