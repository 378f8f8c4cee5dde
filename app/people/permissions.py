"""The whole policy that is no act on a pair, on one screen: what, who, whether for the own clinics alone, and why.

Acts are owned in app/bench/rules/acts.py; the rights page shows both.
"""

from dataclasses import dataclass

from app.errors import NotAllowed, NotFound
from app.people.rules import Role, Viewer

T, C, M = Role.TECHNICIAN, Role.CLINICIAN, Role.MANAGER


@dataclass(frozen=True, slots=True)
class Right:
    roles: frozenset[Role]
    meaning: str
    own_clinics: bool = False
    """A clinician has it at the own clinics alone; other roles of the lab have it everywhere."""


RIGHTS: dict[str, Right] = {
    "see_queues": Right(frozenset({T, C, M}), "see what waits at each stage", own_clinics=True),
    "see_pair": Right(frozenset({T, C, M}), "see a pair, its prescription and its trail", own_clinics=True),
    "place_order": Right(frozenset({C}), "order a pair", own_clinics=True),
    "add_scan": Right(frozenset({T, C}), "add the scan file of a foot", own_clinics=True),
    "see_patient": Right(frozenset({C}), "see a wearer's name and record", own_clinics=True),
    "measure_stance": Right(frozenset({C}), "measure how a wearer stands and see the photos of it", own_clinics=True),
    "log_arrival": Right(frozenset({T}), "write down what has arrived and match it to its order"),
    "keep_positive": Right(frozenset({T, M}), "say where a positive stands, and that it is broken or thrown away"),
    "print_paper": Right(frozenset({T, C, M}), "print job tickets and slips", own_clinics=True),
    "work_out_sheets": Right(frozenset({T, M}), "work out pour sheets and oven loads for several pairs"),
    "work_at_bench": Right(frozenset({T, C}), "work at the scan station", own_clinics=True),
    "print_cards": Right(frozenset({T, M}), "print the cards that a bench is worked with"),
    "pack_parcel": Right(frozenset({T, C}), "pack and send a parcel", own_clinics=True),
    "receive_parcel": Right(frozenset({T, C}), "receive a parcel with its exceptions", own_clinics=True),
    "settle_belonging": Right(
        frozenset({T, C, M}), "say what came with a pair and what became of it", own_clinics=True
    ),
    "note_dues": Right(frozenset({C, M}), "note approval and payment", own_clinics=True),
    "see_materials": Right(frozenset({T, M}), "see materials, their lots, and which pairs a lot is in"),
    "keep_materials": Right(frozenset({T, M}), "add materials and lots and correct their stock"),
    "hold_lot": Right(frozenset({M}), "hold a lot, lift the hold, and let pairs with a held lot go on"),
    "tell_of_lot": Right(
        frozenset({C}), "note that the wearer of a held lot was told and the pair returned", own_clinics=True
    ),
    "see_flags": Right(frozenset({T, C, M}), "see what the rules have noticed", own_clinics=True),
    "keep_wearer_page": Right(
        frozenset({C}), "give a wearer a page of the own, withdraw it, and clear what was noted there", own_clinics=True
    ),
    "keep_wearing_plans": Right(frozenset({C, M}), "keep a clinic’s own wearing-in plans", own_clinics=True),
    "put_off_flag": Right(frozenset({C, M}), "acknowledge a flag or put it off", own_clinics=True),
    "see_turnaround": Right(frozenset({M}), "see times and shares of the whole lab"),
    "see_journal": Right(frozenset({M}), "see who did and saw what"),
    "see_metrics": Right(frozenset({M}), "read the running server's figures, as a program, from another machine"),
    "sign_on": Right(frozenset({T}), "sign on at a tablet of the bench with badge and PIN"),
    "keep_tablets": Right(frozenset({M}), "enrol tablets of the bench and end them, give out badges, clear PINs"),
    "manage_people": Right(frozenset({M}), "invite people, change their roles, end their access"),
    "manage_lab": Right(frozenset({M}), "change the lab's settings and clinics"),
    "transfer_wearer": Right(frozenset({M}), "move a wearer with the open pairs to another clinic"),
}


def why_not(viewer: Viewer, right: str, clinic_id: int | None = None) -> str | None:
    """The sentence on a disabled button and in the refusal; None when the person may."""
    row = RIGHTS[right]
    here = viewer if clinic_id is None or not row.own_clinics else viewer.at(clinic_id)
    if here.has(*row.roles):
        return None
    return f"To {row.meaning}, one has to be a {' or a '.join(sorted(row.roles))} here."


def may(viewer: Viewer, right: str, clinic_id: int | None = None) -> bool:
    return why_not(viewer, right, clinic_id) is None


def need(viewer: Viewer, right: str, clinic_id: int | None = None) -> None:
    """Refuses: another clinic's thing is not found, one's own that the role does not include is not allowed."""
    sentence = why_not(viewer, right, clinic_id)
    if sentence is None:
        return
    if clinic_id is not None and not viewer.has(T, M) and clinic_id not in viewer.clinics:
        raise NotFound("There is nothing like that at your clinics.")
    raise NotAllowed(sentence)
