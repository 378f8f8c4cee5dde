"""What came back, by reason, stage, shell and clinic: tables and drawings for page, paper and spreadsheet."""

from collections.abc import Mapping

from app.trade.estimates import pareto
from app.turnaround.rules import charts
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.charts import Chart
from app.turnaround.rules.returns import (
    BY,
    BY_MEANS,
    KINDS,
    Returns,
    acts,
    by,
    key_words,
)
from app.turnaround.rules.tabled import Cell, Column, Row, Table, count_words

PAGE, PAIRS = "/turnaround/returns", "/turnaround/returns/pairs"
MOVES = "Moves of the pairs, which are never edited or deleted, found by the day on which they were done."
RATED = ("shell", "clinic")
"""What a pair has from the beginning, so that its dispensings can be counted by it, too."""


def ranked_table(found: Returns, act: str, name: str, clinics: Mapping[int, str]) -> Table:
    """A kind of coming back by one thing, the most usual first, each with its share and what all so far make."""
    kind, counts = KINDS[act], by(found, act, name)
    dispensed = by(found, "dispense", name) if name in RATED else {}
    rows = []
    for each in pareto(counts):
        cells: tuple[Cell, ...] = (key_words(act, name, each.key, clinics), each.count, each.share, each.running)
        if name in RATED:
            of = dispensed.get(each.key, 0)
            cells += (of, _per_hundred(each.count, of))
        rows.append(Row(cells, behind(found.asked, act, name, each.key)))
    columns = [Column(BY[name][1], "text"), Column(kind.things[1].capitalize()), Column("Share", "share")]
    columns.append(Column("Together", "share"))
    if name in RATED:
        columns += [Column("Dispensed"), Column("Per hundred dispensed", "number")]
    meaning = [kind.meaning, BY_MEANS.get((act, name), "")]
    if name == "shell":
        meaning.append("The shell that was prescribed at that time; the left’s, where the sides differ.")
    if name == "clinic":
        meaning.append("The clinic that the pair belongs to now.")
    return Table(
        title=f"{kind.title}, by {BY[name][0]}",
        columns=tuple(columns),
        rows=tuple(rows),
        definition=" ".join(filter(None, meaning)),
        count=_counted(found, act),
        source=MOVES,
    )


def ranked_chart(
    found: Returns, act: str, name: str, clinics: Mapping[int, str], *, links: bool = True
) -> Chart | None:
    rows = pareto(by(found, act, name))
    if not rows:
        return None
    return charts.ranked(
        rows,
        title=f"{KINDS[act].title}, by {BY[name][0]}",
        words=lambda key: key_words(act, name, key, clinics),
        href=lambda key: behind(found.asked, act, name, key) if links else "",
        things=KINDS[act].things[1],
    )


def behind(asked: Asked, act: str, name: str, key: str) -> str:
    return asked.address(PAIRS, what=act, by=name, key=key)


def per_hundred(found: Returns, act: str) -> float | None:
    """Acts of the period a hundred pairs dispensed in it."""
    return _per_hundred(acts(found.counts, act), acts(found.counts, "dispense"))


def _per_hundred(count: int, of: int) -> float | None:
    return 100 * count / of if of else None


def _counted(found: Returns, act: str) -> str:
    dispensed = count_words(acts(found.counts, "dispense"), ("pair", "pairs"))
    return f"{count_words(acts(found.counts, act), KINDS[act].things)}; {dispensed} dispensed in the same time"
