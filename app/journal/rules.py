"""How is an entry told? What was done in plain words, and what its facts say; the caller names the ids in them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Kind:
    words: str
    """What the person did, before the name of what it was done to."""
    was_is: bool = False
    """Its facts hold what was and what is, by field."""
    by_itself: bool = False
    """Nobody did it: Pairtrail does it on its own."""


KINDS: dict[str, Kind] = {
    "signed_in": Kind("signed in"),
    "signed_out": Kind("signed out"),
    "signed_out_idle": Kind("was signed out after being away"),
    "sign_in_refused": Kind("was refused at signing in"),
    "invited": Kind("invited someone"),
    "invitation_withdrawn": Kind("withdrew an invitation"),
    "joined": Kind("used the invitation and joined:"),
    "password_link_made": Kind("made a link for a new password for"),
    "password_changed": Kind("chose a new password:"),
    "staff_changed": Kind("changed roles or clinics of", was_is=True),
    "access_ended": Kind("ended the access of"),
    "token_made": Kind("was given an API token:"),
    "token_ended": Kind("ended an API token of"),
    "station_enrolled": Kind("enrolled the tablet"),
    "station_ended": Kind("ended the tablet"),
    "badge_made": Kind("made a badge for"),
    "badge_replaced": Kind("replaced the badge of"),
    "badge_void": Kind("declared void the badge of"),
    "pin_set": Kind("chose a PIN:"),
    "pin_cleared": Kind("cleared the PIN of"),
    "told_chosen": Kind("chose what to be told of by mail:", was_is=True),
    "calendar_made": Kind("made a calendar address:"),
    "calendar_ended": Kind("ended the calendar address:"),
    "mail_sent": Kind("sent a mail about", by_itself=True),
    "mail_failed": Kind("could not send a mail about", by_itself=True),
    "signed_on": Kind("signed on at"),
    "signed_off": Kind("was signed off at"),
    "sign_on_refused": Kind("was refused at signing on at"),
    "sign_on_locked": Kind("gave too many wrong PINs at"),
    "lab_set_up": Kind("set up the lab"),
    "lab_changed": Kind("changed the settings of", was_is=True),
    "limits_changed": Kind("changed limits of", was_is=True),
    "bench_set_up": Kind("changed the bench's settings of", was_is=True),
    "sheet_printed": Kind("printed"),
    "clinic_added": Kind("added the clinic", was_is=True),
    "clinic_changed": Kind("changed the clinic", was_is=True),
    "patient_read": Kind("read the record of"),
    "patient_added": Kind("entered the wearer"),
    "patient_changed": Kind("changed the record of"),
    "transferred": Kind("moved to another clinic:", was_is=True),
    "recheck_held": Kind("held the recheck of"),
    "wearer_page_given": Kind("gave the wearer a page of the own:"),
    "wearer_page_withdrawn": Kind("withdrew the wearer’s own page:"),
    "wearer_noted": Kind("noted on the wearer’s own page:"),
    "wearer_red_flag": Kind("noted a red flag on the wearer’s own page:"),
    "wearer_cleared": Kind("cleared what the wearer had noted:"),
    "plan_added": Kind("added a wearing-in plan of", was_is=True),
    "plan_changed": Kind("changed a wearing-in plan of", was_is=True),
    "plan_ended": Kind("ended a wearing-in plan of"),
    "prescribed": Kind("prescribed for"),
    "dues_noted": Kind("noted approval or payment for", was_is=True),
    "stop_signed": Kind("signed for what a check stops, for"),
    "start_kept": Kind("kept a starting prescription:"),
    "start_renamed": Kind("renamed a starting prescription:"),
    "start_thrown_away": Kind("threw a starting prescription away:"),
    "shoe_changed": Kind("changed the shoe of"),
    "capture_accepted": Kind("accepted the capture of"),
    "capture_void": Kind("declared void the capture of"),
    "positive_broken": Kind("declared broken the positive of"),
    "positive_thrown_away": Kind("threw away the positive of"),
    "scan_added": Kind("added a scan of"),
    "measured": Kind("measured how the wearer stands, for"),
    "measure_corrected": Kind("corrected a measure of how the wearer stands, for"),
    "stance_photo_added": Kind("added a photo of how the wearer stands, for"),
    "photos_added": Kind("added photos to what was asked or told of"),
    "arrived": Kind("wrote down what has arrived:"),
    "arrival_matched": Kind("matched"),
    "arrival_split": Kind("matched a part of"),
    "arrival_returned": Kind("sent back"),
    "parcel_sent": Kind("sent"),
    "parcel_received": Kind("received"),
    "material_added": Kind("added the material", was_is=True),
    "material_changed": Kind("changed the material", was_is=True),
    "lot_added": Kind("took down the lot"),
    "stock_corrected": Kind("corrected the stock of", was_is=True),
    "lot_held": Kind("held"),
    "lot_lifted": Kind("lifted the hold of"),
    "lot_in_use": Kind("took into use"),
    "lot_put_away": Kind("put away"),
    "lot_told": Kind("told the wearer of a held lot in"),
    "lot_returned": Kind("has back, for a held lot in it,"),
    "flag_acknowledged": Kind("acknowledged a flag on"),
    "flag_put_off": Kind("put off a flag on"),
}
BY_ITSELF = frozenset(what for what, kind in KINDS.items() if kind.by_itself)
FIELDS = {
    "born_on": "day of birth",
    "born_year": "year of birth",
    "by_parcel": "by parcel",
    "calendar": "working hours and days off, as calendar number",
    "clinic": "clinic",
    "mass_kg": "body mass",
    "missing": "pairs missing",
    "number": "version",
    "posture_left": "foot posture left",
    "posture_right": "foot posture right",
    "stages_on": "stages switched on",
    "transit_days": "days on the way",
    "trims": "trims to the shoe itself",
    "zone": "time zone",
}
"""Fields whose name in the log is no word of ours."""
IDS = frozenset(
    {"fields", "note", "prescription", "scan", "order", "hold", "positive", "measure", "replaces", "photo", "move"}
)
"""Facts that say nothing to a person, or are told in another way."""


def told(what: str) -> str:
    """What was done; a kind that this version does not know is told by its own name."""
    return KINDS[what].words if what in KINDS else what.replace("_", " ")


def details(what: str, facts: Mapping[str, Any], names: Mapping[str, Mapping[Any, str]]) -> list[str]:
    """The facts of an entry in words. `names` gives, by fact, the words of the ids or codes that it may hold."""
    was_is = what in KINDS and KINDS[what].was_is
    lines = []
    for key, value in facts.items():
        known, label = names.get(key, {}), names.get("fields", {}).get(key) or FIELDS.get(key, key.replace("_", " "))
        if key in IDS:
            continue
        if was_is and isinstance(value, list) and len(value) == 2:
            lines.append(f"{label}: {_words(value[0], known)} → {_words(value[1], known)}")
        elif value:
            lines.append(f"{label}: {_words(value, known)}")
    if bare := [FIELDS.get(name, name.replace("_", " ")) for name in facts.get("fields", ()) if name not in facts]:
        lines.append(f"fields: {', '.join(bare)}")
    return lines


def _words(value: Any, known: Mapping[Any, str]) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_words(each, known)}" for key, each in value.items()) or "none"
    if isinstance(value, list):
        return ", ".join(_words(each, known) for each in value) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return known.get(value, "—" if value in (None, "") else str(value))
