"""What became of reviews, and how wearers felt at them, as tables for page, paper and spreadsheet."""

from collections.abc import Iterable, Mapping, Sequence

from app.trade.estimates import wilson
from app.turnaround.rules.asked import Asked
from app.turnaround.rules.felt import ENOUGH_RELIEF, FEWEST, MOST, Felt, Found, by_feature
from app.turnaround.rules.returned import PAGE
from app.turnaround.rules.returns import Follow, Kind
from app.turnaround.rules.tabled import FEW, Cell, Column, Row, Table, count_words

REVIEWS = "Reviews as clinicians held them; what was not asked at a review is in no figure."
KEPT = Kind(
    "Reviews kept",
    ("review", "reviews"),
    "kept",
    "A review that was due and was held, on its day or later.",
    "reviews due",
    "Of the reviews due in the month, before today, those that were held, on the day or later. One that is no longer "
    "due, because the order was withdrawn or the pair remade or refurbished before, is in neither number.",
)


def follow_table(follow: Mapping[int, Follow], clinics: Mapping[int, str], asked: Asked) -> Table:
    rows = [
        Row(_followed(clinics.get(clinic, "another clinic"), each), asked.address(PAGE, clinic=clinic))
        for clinic, each in sorted(follow.items(), key=lambda one: -one[1].due)
    ]
    if len(rows) > 1:
        rows.append(Row(_followed("All clinics", together(follow.values()))))
    return Table(
        title="Follow-up, by clinic",
        columns=(
            Column("Clinic", "text"),
            Column("Due"),
            Column("Kept"),
            Column("Share kept", "share"),
            Column("Between, from", "share"),
            Column("to", "share"),
            Column("Overdue"),
            Column("Lost"),
            Column("No longer due"),
            Column("Missed"),
        ),
        rows=tuple(rows),
        definition="Reviews that were due in the period and before today. Kept: held, on the day or later. Overdue: "
        "still open. Lost: closed without a review, after attempts to reach the wearer. No longer due: withdrawn, "
        "remade or refurbished before it; the share kept leaves these out. Missed: how often a wearer did not come to "
        "a review’s appointment in the period; the review itself may have been kept later. Between: where the true "
        "share lies with 95 % (Wilson, 1927).",
        count=count_words(together(follow.values()).due, ("review", "reviews")) + " due",
        source="Reviews by the day on which they were due, and the acts by which clinicians note that a wearer did not "
        "come.",
    )


def _followed(name: str, each: Follow) -> tuple[Cell, ...]:
    wanted = each.due - each.gone
    low, high = wilson(each.kept, wanted) if wanted else (None, None)
    share = each.kept / wanted if wanted else None
    return (name, each.due, each.kept, share, low, high, each.overdue, each.lost, each.gone, each.missed)


def together(follow: Iterable[Follow]) -> Follow:
    return Follow(*(sum(each) for each in zip(*follow, strict=True))) if (follow := list(follow)) else Follow(*[0] * 6)


def felt_tables(felt: Sequence[Felt]) -> tuple[Table, ...]:
    """Relief, and comfort and pain, a row a feature; where too few told of something, it says so."""
    found = by_feature(felt)
    count = count_words(len(felt), ("wearer", "wearers"))
    return (_relief_table(found, count), _comfort_table(found, count)) if felt else ()


_OF_WHOM = f"Of each pair the latest review of the period that asked, of the latest {MOST:,} reviews."
_HOW_SURE = (
    f"Of fewer than {FEWEST} nothing is said. That a feature goes with better figures does not say that it brings them "
    "about: wearers who need it differ from those who don’t."
)


def _relief_table(found: Sequence[Found], count: str) -> Table:
    return Table(
        title="Relief, by what was prescribed",
        columns=(
            Column("Prescribed", "text"),
            Column("Wearers"),
            Column("Told of it"),
            Column("Median relief", "number", "%"),
            Column(f"{ENOUGH_RELIEF} % or more", "share"),
            Column("Between, from", "share"),
            Column("to", "share"),
        ),
        rows=tuple(
            Row(
                (
                    _feature(each),
                    each.wearers,
                    each.relieved,
                    *(_or_few(one, each.relieved) for one in (each.relief, each.enough, each.low, each.high)),
                )
            )
            for each in found
        ),
        definition=f"{_OF_WHOM} Relief in per cent, as the wearer says it: half of them told of the median or more. "
        f"{ENOUGH_RELIEF} % and more is often called substantial in pain research (from memory). Between: where the "
        f"true share lies with 95 % (Wilson, 1927). {_HOW_SURE}",
        count=count,
        source=REVIEWS,
    )


def _comfort_table(found: Sequence[Found], count: str) -> Table:
    return Table(
        title="Comfort and pain, by what was prescribed",
        columns=(
            Column("Prescribed", "text"),
            Column("Wearers"),
            Column("Told of comfort"),
            Column("Median comfort", "number", "of 10"),
            Column("Told of pain twice"),
            Column("Median change in pain", "number"),
        ),
        rows=tuple(
            Row(
                (
                    _feature(each),
                    each.wearers,
                    each.comforted,
                    _or_few(each.comfort, each.comforted),
                    each.compared,
                    _or_few(each.change, each.compared),
                )
            )
            for each in found
        ),
        definition=f"{_OF_WHOM} Comfort 0 to 10, 10 the best. Change in pain: the score at the review less the one "
        f"before the pair was worn, 0 to 10 each; below 0 there is less pain. {_HOW_SURE}",
        count=count,
        source=REVIEWS,
    )


def _feature(each: Found) -> str:
    return f"{each.group}: {each.feature}" if each.feature else each.group


def _or_few(figure: float | None, told: int) -> Cell:
    return FEW if figure is None and told else figure
