"""How forecasts held: their 85 % days counted, and their misses beside those of two plain forecasts."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.turnaround.rules.forecast.line import place_words
from app.turnaround.rules.forecast.odds import Days
from app.turnaround.rules.forecast.trusted import NOT_YET, Foretold, learn, trusted
from app.turnaround.rules.tabled import FEW, Column, Row, Table, count_words

TELLING = 200
"""Forecasts; of fewer a share says little, and is shown with its count alone."""
HOLDS = (0.8, 0.9)
"""Between these shares, an 85 % day is as good as its word."""
HORIZONS: tuple[tuple[int, str], ...] = (
    (0, "within 1 working day"),
    (2, "2 or 3 working days"),
    (4, "4 or 5 working days"),
    (6, "6 to 10 working days"),
    (11, "more than 10 working days"),
)
"""How far ahead a day was named: from so many working days on, and what it is called."""


class Score(NamedTuple):
    """Of `size` forecasts: how many had come by the 50 and by the 85 % day, and the loss of three kinds of forecast."""

    key: str
    size: int
    half: int
    likely: int
    loss: float
    loss_by_stage: float
    loss_fixed: float
    """Mean days of pinball loss over the 50 and the 85 % day."""

    @property
    def share(self) -> float:
        """How many of the 85 % days held, from 0 to 1."""
        return self.likely / self.size if self.size else 0.0

    @property
    def told(self) -> bool:
        """Whether there are enough to say anything of them."""
        return self.size >= TELLING

    @property
    def less_than_by_stage(self) -> int:
        return _less(self.loss, self.loss_by_stage)

    @property
    def less_than_fixed(self) -> int:
        return _less(self.loss, self.loss_fixed)


def _less(loss: float, plain: float) -> int:
    """By how many per cent it misses less than a plain forecast; below 0 where it misses more."""
    return round(100 * (1 - loss / plain)) if plain else 0


def verdict(score: Score) -> str:
    """What may be made of the 85 % day, in a sentence."""
    if not score.told:
        return f"Of fewer than {TELLING} forecasts nothing can be said yet."
    if score.share < HOLDS[0]:
        return "The 85 % day holds too seldom: do not promise by it before this is better."
    if score.share > HOLDS[1]:
        return "The 85 % day holds more often than it says: promises by it are on the safe side."
    return "The 85 % day holds about as often as it says: it can be promised."


def grouped(kept: Mapping[str, Any]) -> list[tuple[str, list[Score]]]:
    """The scores as a back-test keeps them, each group with its title."""
    ahead, place, left = ([Score(*row) for row in kept[name]] for name in ("ahead", "place", "left"))
    return [
        ("How far ahead the day was", ahead),
        (
            "Stages still to pass",
            [_key(each, f"{each.key} {'stage' if each.key == '1' else 'stages'}") for each in left],
        ),
        ("Where the pair stood", [_key(each, place_words(each.key)) for each in place]),
    ]


def _key(score: Score, words: str) -> Score:
    return score._replace(key=words)


def score_table(title: str, rows: Sequence[Score]) -> Table:
    """How forecasts held, for a workbook; of too few it has the counts alone."""
    cells = [
        (
            *(each.key, each.size, each.likely),
            *((each.share, each.half / each.size, each.loss) if each.told else (FEW,) * 3),
            *((each.loss_by_stage, each.loss_fixed) if each.told else (FEW,) * 2),
        )
        for each in rows
    ]
    return Table(
        title=title,
        columns=(
            *(Column("Of", "text"), Column("Forecasts"), Column("There by the 85 % day")),
            *(Column("85 % held", "share"), Column("50 % held", "share"), Column("Missed by", "number", "days")),
            *(
                Column("The stage's median missed by", "number", "days"),
                Column("Fixed days missed by", "number", "days"),
            ),
        ),
        rows=tuple(Row(each) for each in cells),
        definition="Forecasts as they would have been made on each Monday of the past year; a miss is the mean pinball "
        f"loss of the 50 and the 85 % day. Of fewer than {TELLING} nothing is said.",
        count=count_words(sum(each.size for each in rows), ("forecast", "forecasts")),
        source="The moves of the pairs, read as they stood on each Monday.",
    )


class Scored(NamedTuple):
    """Forecasts whose outcome is known, put right out of sample."""

    place: NDArray[np.int64]
    left: NDArray[np.int64]
    ahead: NDArray[np.int64]
    """Mondays to Fridays from the day it was made on to the 85 % day."""
    half: Days
    likely: Days
    by_stage: Days
    fixed: Days
    came: Days
    """The day; for what has still not come, the last day that is over: a day foretold before it was missed."""


def scored(made: Sequence[Foretold], today: int) -> Scored:
    """Every week's forecasts as they would have been made, each learnt from the weeks before it alone."""
    weeks = sorted(made, key=lambda each: each.made_on)
    rows: list[Scored] = []
    for number, week in enumerate(weeks):
        learnt = learn(weeks[:number], week.made_on)
        if not learnt:
            continue
        right = trusted(week.raw, list(zip(week.place.tolist(), week.left.tolist(), strict=True)), learnt)
        half, likely = right[:, 49], right[:, 84]
        # Counted as soon as its 85 % day has passed: sooner, only what came early could be counted.
        told = likely < today
        came = np.where(week.came == NOT_YET, today, week.came)
        ahead = np.busday_count(_date(week.made_on), _date(likely)).astype(np.int64)
        columns = (week.place, week.left, ahead, half, likely, week.by_stage, week.fixed, came)
        rows.append(Scored(*(each[told] for each in columns)))
    if not rows:
        return Scored(*(np.zeros(0, dtype=np.int64) for _ in Scored._fields))
    return Scored(*(np.concatenate(each) for each in zip(*rows, strict=True)))


def _date(days: Days | int) -> NDArray[np.datetime64]:
    """numpy counts days from 1970, Python's numbers from the year 1."""
    return np.asarray(np.asarray(days) - date(1970, 1, 1).toordinal(), dtype="datetime64[D]")


def scores(rows: Scored, keys: NDArray[np.int64], words: Mapping[int, str] | Sequence[str]) -> list[Score]:
    """One for each different key, in rising order."""
    return [_score(words[int(key)], rows, keys == key) for key in np.unique(keys)]


def by_horizon(rows: Scored) -> list[Score]:
    begins = np.array([first for first, _ in HORIZONS])
    return scores(rows, np.searchsorted(begins, rows.ahead, side="right") - 1, [words for _, words in HORIZONS])


def overall(rows: Scored) -> Score:
    return _score("all", rows, np.ones(len(rows.came), dtype=bool))


def _score(key: str, rows: Scored, mine: NDArray[np.bool_]) -> Score:
    came, half, likely = rows.came[mine], rows.half[mine], rows.likely[mine]
    by_stage, fixed = rows.by_stage[mine], rows.fixed[mine]
    return Score(
        key,
        int(mine.sum()),
        int((came <= half).sum()),
        int((came <= likely).sum()),
        pinball(half, likely, came),
        pinball(by_stage, by_stage, came),
        pinball(fixed, fixed, came),
    )


def pinball(half: Days, likely: Days, came: Days) -> float:
    """Mean over both days: too early costs the level, too late what is left of it (Koenker & Bassett, 1978)."""
    if not len(came):
        return 0.0
    losses = []
    for day, level in ((half, 0.5), (likely, 0.85)):
        off = (came - day).astype(float)
        losses.append(np.maximum(level * off, (level - 1) * off).mean())
    return float(np.mean(losses))
