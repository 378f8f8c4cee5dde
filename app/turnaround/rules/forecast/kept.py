"""The lab as it stood when forecasts were made, as bytes: what would be if is asked of the same lab, at once."""

import io
import json
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, NamedTuple

import numpy as np

from app.trade.worktime import WorkCalendar
from app.turnaround.rules.forecast.known import Known, Minutes, Times
from app.turnaround.rules.forecast.made import Kind
from app.turnaround.rules.forecast.standing import Capacity, Snapshot, Standing

_DAYS = ("due_on", "promised_on")
_INSTANTS = ("since", "held_since", "started_at")


class Kept(NamedTuple):
    snapshot: Snapshot
    hurried: Mapping[str, Minutes]
    """Stays of rush pairs at the benches, where enough of them have been."""
    paces: Mapping[Kind, float]
    """New orders a working day, by what they are of."""


def packed(kept: Kept) -> bytes:
    """Without calendar, capacity and standard days: those stand in the lab's settings."""
    snapshot, known = kept.snapshot, kept.snapshot.known
    head = {
        "at": snapshot.at.isoformat(),
        "standing": [_written(each) for each in snapshot.standing],
        "places": {place: (own.a_day, own.people, own.back) for place, own in known.places.items()},
        "onward": dict(known.onward),
        "stays": known.stays,
        "paces": [(list(kind), a_day) for kind, a_day in kept.paces.items()],
    }
    columns = {"head": np.frombuffer(json.dumps(head).encode(), dtype=np.uint8)}
    for name, times in (
        ("stays", {place: own.stays for place, own in known.places.items()}),
        ("back", {place: own.back_minutes for place, own in known.places.items()}),
        ("holds", known.holds),
        ("hurried", kept.hurried),
    ):
        columns |= {f"{name}.{place}": minutes.astype(np.float32) for place, minutes in times.items()}
    stream = io.BytesIO()
    np.savez_compressed(stream, **columns)  # type: ignore[arg-type]
    return stream.getvalue()


def unpacked(
    columns: bytes, calendar: WorkCalendar, capacity: Mapping[str, Capacity], standard_days: Mapping[str, int]
) -> Kept:
    with np.load(io.BytesIO(columns), allow_pickle=False) as held:
        head = json.loads(held["head"].tobytes())
        times: dict[str, dict[str, Minutes]] = {name: {} for name in ("stays", "back", "holds", "hurried")}
        for key in held.files:
            name, _, place = key.partition(".")
            if place:
                times[name][place] = held[key].astype(np.float64)
    places = {
        place: Times(times["stays"][place], a_day, people, back, times["back"][place])
        for place, (a_day, people, back) in head["places"].items()
    }
    known = Known(places, times["holds"], head["onward"], head["stays"])
    standing = tuple(_read(row) for row in head["standing"])
    at = datetime.fromisoformat(head["at"])
    paces = {Kind(*kind): a_day for kind, a_day in head["paces"]}
    return Kept(Snapshot(at, calendar, known, standing, capacity, standard_days), times["hurried"], paces)


def _written(pair: Standing) -> list[Any]:
    row = pair._asdict()
    row |= {name: row[name].isoformat() if row[name] else None for name in (*_DAYS, *_INSTANTS)}
    return list(row.values())


def _read(row: list[Any]) -> Standing:
    values = dict(zip(Standing._fields, row, strict=True))
    values |= {name: date.fromisoformat(values[name]) if values[name] else None for name in _DAYS}
    values |= {name: datetime.fromisoformat(values[name]) if values[name] else None for name in _INSTANTS}
    return Standing(**values | {"places": tuple(values["places"])})
