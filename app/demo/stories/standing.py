"""How a wearer stands: photos marked at dispensing, without and with devices, and a photo of today to be marked."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from app.capture.reading import photos
from app.demo import legs
from app.demo.legs import Angles
from app.demo.telling import Teller, Telling, ToldPair
from app.fitting import actions as fitting
from app.fitting.rules.stance import points_text
from app.trade.stance import ITEMS

BAREFOOT: Angles = {"L.leg": -5.0, "L.heel": 8.0, "R.leg": -4.0, "R.heel": 10.5}
BAREFOOT_LATER: Angles = {"L.leg": -5.5, "L.heel": 7.5, "R.leg": -4.0, "R.heel": 9.5}
IN_DEVICES: Angles = {"L.leg": -5.0, "L.heel": 4.0, "R.leg": -4.0, "R.heel": 5.5}
POSTURE = {"L": (1, 1, 1, 1, 1, 1), "R": (2, 1, 2, 1, 2, 1)}
"""The six items of each foot; their totals are the wearer's Foot Posture Index."""
LENGTHS: Mapping[str, Mapping[str, str]] = {
    "arch": {"L.dorsum": "61", "L.truncated": "186", "R.dorsum": "58.5", "R.truncated": "186"},
    "navicular": {"L.unloaded": "46", "L.loaded": "38.5", "R.unloaded": "45", "R.loaded": "35"},
}
TWO_WEEKS_ON = {"L.leg_deg": "-5", "L.heel_deg": "3.5", "R.leg_deg": "-4", "R.heel_deg": "5"}
"""With devices, as they were typed at the review."""


def _photo(pair: ToldPair, angles: Angles, with_devices: bool) -> int:
    t, photo = pair.teller, photos.read(legs.picture(angles, with_devices))
    return fitting.add_photo(t.db, t.storage, code=pair.code, with_devices=with_devices, photo=photo, by=pair.clinician)


def _marked(pair: ToldPair, angles: Angles, with_devices: bool) -> None:
    photo_id, at = _photo(pair, angles, with_devices), legs.places(angles)
    said = {f"{side}.points": points_text([list(at[name]) for name in at if name[0] == side]) for side in legs.ANKLES}
    _measured(pair, "angles", said, with_devices, photo_id)


def _measured(
    pair: ToldPair, kind: str, said: Mapping[str, str], with_devices: bool = False, photo_id: int | None = None
) -> None:
    fitting.measure(
        pair.teller.db,
        code=pair.code,
        kind=kind,
        said=said,
        with_devices=with_devices,
        photo_id=photo_id,
        by=pair.clinician,
    )


def _scores(of: Mapping[str, Sequence[int]]) -> dict[str, str]:
    return {f"{side}.{item}": str(score) for side, row in of.items() for item, score in zip(ITEMS, row, strict=True)}


def stance_is_measured(t: Teller) -> Telling:
    """The barefoot photo of the review is there, and nobody has marked its points yet."""
    review = t.worked(0.7)
    since = t.days(15, before=review)
    yield t.worked(10.6, before=since)
    wearer = t.wearer(child=False, risks=(), postures=[sum(row) for row in POSTURE.values()])
    pair = t.order("Harbour Steps", wearer=wearer)
    yield from pair.walk("dispense", t.worked(0.8, before=since))
    yield since - timedelta(minutes=20)
    _marked(pair, BAREFOOT, with_devices=False)
    _measured(pair, "posture", _scores(POSTURE))
    for kind, said in LENGTHS.items():
        _measured(pair, kind, said)
    _marked(pair, IN_DEVICES, with_devices=True)
    yield from pair.walk("wear_in", since)
    yield review
    _measured(pair, "angles", TWO_WEEKS_ON, with_devices=True)
    _photo(pair, BAREFOOT_LATER, with_devices=False)
    told = {"comfort": 7, "pain": 2, "pain_relief": 50, "hours_reached": 8, "skin": "clear"}
    pair.act("keep_wearing", facts={"review": told, "words": "Better every day; wants to walk the cliff path first."})


ALL = (stance_is_measured,)
