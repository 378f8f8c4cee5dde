"""Every act says when it was done, if that was before now; and wearing in is worked by the day of the review."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlmodel import col, select

from app import clock
from app.bench import queries
from app.bench.rules.acts import ACTS
from app.bench.tables import Move
from app.desks.actions import SPECIAL
from app.errors import BadInput
from app.fitting.tables import Contact, Review, WearingPlan
from tests.bench.conftest import Lab
from tests.house import FITS

OnDay = Callable[[date], None]
WEDNESDAY = date(2027, 3, 3)

DISPENSE: dict[str, Any] = {"facts": FITS["LR"]}
HELD_BACK: dict[str, Any] = {"sides": "L", "to_stage": "trim", "reason": "edges", "facts": {"fit": {}}}
HERE = {"where": "here", "zones": [{"side": "L", "zone": "pad", "what": "moved"}]}
AT: dict[str, tuple[str, str, dict[str, Any]]] = {
    "promise": ("press", "technician", {"reason": "Busy.", "facts": {"day": "2027-05-06"}}),
    "recapture": ("press", "technician", {"sides": "L", "reason": "broken"}),
    "transfer": ("press", "manager", {}),
    "take_back": ("press", "technician", {}),
    "remake": ("wear_in", "clinician", {"sides": "L", "reason": "fit", "facts": {"start": "positive"}}),
    "dispense": ("dispense", "clinician", DISPENSE),
    "send_back": ("dispense", "clinician", HELD_BACK),
    "tell": ("dispense", "clinician", {"facts": {"how": "telephone", "who": "wearer"}}),
    "book": ("dispense", "clinician", {"facts": {"at": "2027-03-20T10:30", "what": "fitting"}}),
    "no_show": ("dispense", "clinician", {"facts": {"what": "fitting"}}),
    "adjust": ("wear_in", "clinician", {"sides": "L", "reason": "Rubs.", "facts": HERE}),
    "keep_wearing": ("wear_in", "clinician", {}),
    "settle": ("wear_in", "clinician", {}),
    "note_request": ("wear_in", "clinician", {"reason": "Softer."}),
    "refurbish": ("wear_in", "clinician", {}),
    "withdraw": ("press", "clinician", {"reason": "Twice."}),
    "close": ("wear_in", "clinician", {"reason": "Gone."}),
    "uncollected": ("dispense", "clinician", {"reason": "Gone."}),
    "reopen": ("press", "manager", {"reason": "A mistake."}),
}
"""Act to the stage, the person and what is said; what else it takes is done in `before`."""


def before(lab: Lab, code: str, act: str) -> dict[str, Any]:
    if act == "close":
        for _ in range(3):
            lab.act(code, "tell", by="clinician", facts={"how": "letter", "who": "left_word"})
    if act == "uncollected":
        lab.act(code, "tell", by="clinician", facts={"how": "letter", "who": "wearer"})
        clock.set_shift(clock.shift() + timedelta(days=61))
    if act == "reopen":
        lab.act(code, "withdraw", by="manager", reason="Twice.", facts={"code": code})
    if act == "transfer":
        return {"facts": {"clinic": lab.house.clinics["trims"]}}
    return {"facts": {"code": code}} if act == "withdraw" else {}


@pytest.mark.parametrize("act", AT)
def test_when_it_was_done_is_kept_and_checked_by_every_act(lab: Lab, on_day: OnDay, act: str) -> None:
    on_day(WEDNESDAY)
    stage, by, said = AT[act]
    code = lab.order()
    lab.walk(code, stage)
    said = said | before(lab, code, act)
    clock.set_shift(clock.shift() + timedelta(minutes=8))
    now = clock.now()
    for wrong in (now - timedelta(days=90), now + timedelta(hours=1)):
        with pytest.raises(BadInput, match="between the pair's last move and now"):
            lab.act(code, act, by=by, done_at=wrong, **said)
    done_at = now - timedelta(minutes=5)
    lab.act(code, act, by=by, done_at=done_at, **said)
    with lab.database.reading() as db:
        moves = db.exec(select(Move.done_at).where(Move.act == act).order_by(col(Move.id))).all()
    assert moves[-1] == done_at


def test_no_act_with_a_room_of_its_own_is_left_out() -> None:
    assert set(SPECIAL) - set(AT) == set()
    assert set(AT) <= set(ACTS)


def test_an_act_is_never_done_before_the_move_before_it(lab: Lab) -> None:
    code = lab.order()
    lab.walk(code, "press")
    clock.set_shift(timedelta(hours=2))
    lab.act(code, "ask", reason="Which side?", waiting_on="lab")
    with pytest.raises(BadInput):
        lab.act(code, "answer", reason="Both.", done_at=clock.now() - timedelta(hours=1))


def test_a_dispensing_typed_in_on_the_next_day_counts_from_its_own(lab: Lab, on_day: OnDay) -> None:
    on_day(WEDNESDAY)
    code = lab.order()
    lab.walk(code, "dispense")
    on_day(WEDNESDAY + timedelta(days=1))
    done_at = clock.now() - timedelta(hours=20)
    lab.act(code, "dispense", by="clinician", done_at=done_at)
    with lab.database.reading() as db:
        assert db.exec(select(WearingPlan)).one().from_day == WEDNESDAY
        assert db.exec(select(Review)).one().due_on == date(2027, 3, 17)


def test_a_wearer_told_on_the_day_before_was_told_then(lab: Lab, on_day: OnDay) -> None:
    on_day(WEDNESDAY)
    code = lab.order()
    lab.walk(code, "dispense")
    on_day(WEDNESDAY + timedelta(days=1))
    done_at = clock.now() - timedelta(hours=20)
    lab.act(code, "tell", by="clinician", facts={"how": "telephone", "who": "wearer"}, done_at=done_at)
    with lab.database.reading() as db:
        assert db.exec(select(Contact.at)).one() == done_at


def wearing(lab: Lab) -> list[tuple[str, date]]:
    with lab.database.reading() as db:
        return [(row.label, row.due_on) for row in queries.queue(db, "wear_in", clinics=None)[0]]


def test_wearing_in_is_worked_by_the_day_of_the_review(lab: Lab, on_day: OnDay) -> None:
    """Promised days play no part any more: the second pair was promised for long after the first."""
    on_day(WEDNESDAY)
    early = lab.order(label="Early", wanted_on=date(2027, 6, 30))
    lab.walk(early, "wear_in")
    on_day(date(2027, 3, 4))
    late = lab.order(label="Late")
    lab.walk(late, "wear_in")
    assert wearing(lab) == [("Early", date(2027, 3, 17)), ("Late", date(2027, 3, 18))]
    facts = {"at": datetime(2027, 3, 10, 9, tzinfo=UTC).isoformat(), "what": "review"}
    lab.act(late, "book", by="clinician", facts=facts)
    lab.act(late, "note_request", by="clinician", reason="Softer.")
    assert wearing(lab) == [("Late", date(2027, 3, 10)), ("Early", date(2027, 3, 17))], "the appointment goes first"
    on_day(date(2027, 3, 11))
    lab.act(late, "no_show", by="clinician", facts={"what": "review"})
    assert wearing(lab)[-1] == ("Late", date(2027, 3, 18))
    on_day(date(2027, 3, 17))
    lab.act(early, "keep_wearing", by="clinician")
    assert wearing(lab) == [("Late", date(2027, 3, 18)), ("Early", date(2027, 3, 31))]
    lab.act(early, "withdraw", by="manager", reason="A slip.", facts={"code": early})
    lab.act(early, "reopen", by="manager", reason="A slip indeed.")
    assert wearing(lab)[-1] == ("Early", date(2027, 3, 31))
