"""Photos that go along with an act: which acts take some, how many, and what each is called."""

from datetime import date

from app.bench.rules.acts import ACTS
from app.errors import BadInput

MOST = 4
SHOWN_WITH = {
    "park": "stop",
    "ask": "question",
    "answer": "answer",
    "resume": "go-ahead",
    "note_request": "wish",
}
"""The acts by which lab and clinic talk of a pair, and what a photo is of that comes with one."""


def check(act: str, many: int) -> None:
    """Refuses photos where nothing is asked or told, and more than a look at the thread is worth."""
    if not many:
        return
    if act not in SHOWN_WITH:
        name = ACTS[act].button if act in ACTS else act
        words = f"'{name}' takes no photos; these acts do: {', '.join(ACTS[key].button for key in SHOWN_WITH)}."
    elif many > MOST:
        words = f"{many} photos were sent; at most {MOST} go along with one act."
    else:
        return
    raise BadInput(words, {"photos": words})


def name_of(act: str, reason: str | None, number: int, day: date, today: date) -> str:
    """`photo 1 of the question of 4 March`, with the year when it is not this year's."""
    of = "question" if reason == "question" else SHOWN_WITH[act]
    year = "" if day.year == today.year else f" {day.year}"
    return f"photo {number} of the {of} of {day.day} {day:%B}{year}"
