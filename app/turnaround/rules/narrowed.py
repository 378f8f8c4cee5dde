"""What can be asked of figures that know months and clinics alone."""

from collections.abc import Mapping
from datetime import date

from app.errors import BadInput
from app.turnaround.rules.asked import Asked, read_asked, usual

_KNOWN = ("months", "from", "to", "clinic")


def narrowed(typed: Mapping[str, str], today: date, clinics: Mapping[int, str]) -> Asked:
    """Other filters narrow nothing here. BadInput names each field that can't be."""
    return read_asked({name: typed[name] for name in _KNOWN if name in typed}, today, clinics)


def read_narrowed(typed: Mapping[str, str], today: date, clinics: Mapping[int, str]) -> tuple[Asked, dict[str, str]]:
    """What is asked, or what is usual with the faults by field."""
    try:
        return narrowed(typed, today, clinics), {}
    except BadInput as refusal:
        return usual(today), refusal.fields
