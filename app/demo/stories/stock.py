"""What lies on the shelves: lots come, some are in use, one runs low, one has expired, one is held with its pairs."""

from datetime import timedelta
from typing import Any

from app.bench import actions as bench
from app.bench.actions import holding, materials
from app.bench.rules.settings import BenchSettings
from app.demo.stock import IN_USE, SHELF
from app.demo.stories.clinic import worn
from app.demo.telling import Teller, Telling

BEFORE_ALL = 66
"""Days ago: before the first pair of any story is poured."""
GLUE = "Contact adhesive"


def _add(t: Teller, name: str, number: str, stock: int, **more: str) -> int:
    typed = {"number": number, "stock": str(stock)} | more
    return materials.add_lot(t.db, by=t.technician(), material_id=t.shelf[name], typed=typed)


def shelves_are_filled(t: Teller) -> Telling:
    """Blanks are cut here; of a few materials a lot is in use."""
    yield t.days(BEFORE_ALL)
    bench.set_up_bench(t.db, by=t.manager, settings=BenchSettings(cuts_blanks=True))
    for each in SHELF:
        t.shelf[each.name] = materials.add(t.db, by=t.technician(), typed=each.typed())
        if each.number:
            expires = (t.now + timedelta(days=each.good_for)).date().isoformat() if each.good_for else ""
            lot = _add(t, each.name, each.number, each.stock, expires_on=expires)
            if each.name in IN_USE:
                materials.take_into_use(t.db, by=t.technician(), lot_id=lot)


def sheets_have_come(t: Teller) -> Telling:
    """In time: of the lot in use a sheet or two are left."""
    yield t.worked(6.1)
    _add(t, "Polypropylene 4 mm", "PP40-735", 40)


def leather_has_expired(t: Teller) -> Telling:
    """It was found behind the others."""
    yield t.worked(2.6)
    day = (t.now - timedelta(days=5)).date().isoformat()
    _add(t, "Leather 1.5 mm", "LE15-318", 2, expires_on=day, received_on=t.days(BEFORE_ALL).date().isoformat())


def glue_is_held(t: Teller) -> Telling:
    """One pair made with it is at the bench, one is being worn; both clinics are to tell their wearers.

    It is still the one in use, until somebody puts it away.
    """
    since = t.days(9)
    yield t.worked(4.5, before=since)
    lot = _add(t, GLUE, "K-2207", 500)
    glued: dict[str, Any] = {"cover": {"lots": [lot]}}
    yield from worn(t, "Upper Quay", since, facts=glued)
    yield t.worked(6.4)
    pair = t.order("Gull Lane", facts=glued)
    yield from pair.walk("trim", t.worked(0.9))
    yield t.worked(0.35)
    materials.take_into_use(t.db, by=t.technician(), lot_id=lot)
    holding.hold_lot(t.db, lot_id=lot, reason="It does not cure: two covers came off in the hand.", by=t.manager)


ALL = (shelves_are_filled, sheets_have_come, leather_has_expired, glue_is_held)
