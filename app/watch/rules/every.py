"""Which rules look at which fact, and what they all find together."""

from collections.abc import Callable, Iterable
from typing import Any

from app.watch.rules import facts, lab, stock, wearer
from app.watch.rules.kinds import KINDS, Flag
from app.watch.rules.limits import Moment

Rule = Callable[[Any, Moment], Flag | None]

RULES: dict[type, tuple[Rule, ...]] = {
    facts.Arrival: (lab.arrival_unmatched,),
    facts.Missing: (lab.capture_missing,),
    facts.Sent: (lab.sent_not_received,),
    facts.Parked: (lab.prescription_changed, lab.parked_long),
    facts.Still: (lab.no_move,),
    facts.Promise: (lab.promise_passed, lab.promise_at_risk, wearer.appointment_early),
    facts.Ready: (wearer.ready_not_told, wearer.told_no_appointment, wearer.not_collected),
    facts.Wearing: (wearer.review_overdue, wearer.review_not_set, wearer.recheck_not_set),
    facts.Recheck: (wearer.recheck_overdue,),
    facts.Wish: (wearer.red_flag, wearer.adjustment_early),
    facts.Repeated: (lab.sent_back_often, wearer.second_adjustment),
    facts.Left: (lab.belongings_open,),
    facts.Little: (stock.low_stock,),
    facts.Expired: (stock.lot_expired,),
}
_URGENCY = {kind: place for place, kind in enumerate(KINDS)}


def flags(found: Iterable[Any], at: Moment) -> list[Flag]:
    """Every flag that these facts raise, the most urgent kind first and in it the oldest."""
    raised = [flag for fact in found for rule in RULES[type(fact)] if (flag := rule(fact, at)) is not None]
    return sorted(raised, key=lambda flag: (_URGENCY[flag.kind], flag.since, flag.pair))
