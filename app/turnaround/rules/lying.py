"""How much of a stay a pair was worked on, and how much of it stood still for somebody; the rest it waited its turn."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from typing import NamedTuple

Measure = Callable[[datetime, datetime], int]
"""Minutes between two instants by the stage's clock."""


class Hold(NamedTuple):
    on: int
    """Whom it waited on, as a place in WAITING_ON."""
    before: str | None
    """The stage that it stopped the pair before; None where it stopped it at once."""
    opened: datetime
    closed: datetime | None

    def stops_at(self, stage: str) -> bool:
        return self.before is None or self.before == stage


def parked_minutes(
    holds: Iterable[Hold], stage: str, entered: datetime, left: datetime, measure: Measure
) -> Iterator[tuple[int, int]]:
    """For whom a stay stood still, and how long. Of several at a time it is the one that was opened first."""
    free_from = entered
    for hold in holds:
        if not hold.stops_at(stage):
            continue
        begins, ends = max(hold.opened, free_from), min(hold.closed or left, left)
        if ends > begins:
            yield hold.on, measure(begins, ends)
            free_from = ends


def worked_minutes(
    begun: Sequence[tuple[str, str | None, datetime]],
    holds: Iterable[Hold],
    stage: str,
    entered: datetime,
    left: datetime,
    measure: Measure,
) -> int:
    """Minutes between a start and what ended it: another press of a button, a stop, or leaving; -1 without a start.

    `begun` are starts and put-downs of the pair in their order, each with the stage at which it was.
    """
    here = [(act, at) for act, at_stage, at in begun if at_stage == stage and entered <= at <= left]
    stops = [hold.opened for hold in holds if hold.stops_at(stage)]
    worked = -1
    for place, (act, at) in enumerate(here):
        if act == "start":
            later = [after for _, after in here[place + 1 : place + 2]]
            ends = min([left, *later, *(stop for stop in stops if stop > at)])
            worked = max(worked, 0) + measure(at, ends)
    return worked
