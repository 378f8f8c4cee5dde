"""What a wearer reads, on paper, on the own page and in a calendar: the same sentences in every language.

A language is a file of sentences beside this one and a row in LANGUAGES. `{...}` in a sentence is filled in by whoever
shows it; a sentence that knows its own markup would be of no use on paper and in a calendar alike.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from app.trade.sentences import english, spanish


@dataclass(frozen=True, slots=True)
class Language:
    key: str
    """As in an HTML `lang` (BCP 47)."""
    name: str
    """In the language itself."""
    sentences: Mapping[str, str]
    weekdays: tuple[str, ...]
    """Monday first, as a calendar is headed."""
    months: tuple[str, ...]
    """As short as a day is written with them."""
    reviewed: bool
    """Whether a fluent reader has looked at the sentences; the clinic is told where nobody has."""

    def say(self, sentence: str, **words: object) -> str:
        return self.sentences[sentence].format(**words)

    def listed(self, names: Sequence[str]) -> str:
        """Boots, sandals and house shoes."""
        return f" {self.say('and')} ".join(part for part in (", ".join(names[:-1]), *names[-1:]) if part)

    def day(self, day: date) -> str:
        """Wed 3 Mar."""
        return f"{self.weekdays[day.weekday()][:3]}\u00a0{self.date(day)}"

    def date(self, day: date) -> str:
        """3 Mar."""
        return f"{day.day}\u00a0{self.months[day.month - 1]}"

    def moment(self, local: datetime) -> str:
        return f"{self.day(local.date())} {local.hour}:{local:%M}"


LANGUAGES: dict[str, Language] = {
    language.key: language
    for language in (
        Language("en", "English", english.SENTENCES, english.WEEKDAYS, english.MONTHS, reviewed=True),
        Language("es", "Español", spanish.SENTENCES, spanish.WEEKDAYS, spanish.MONTHS, reviewed=False),
    )
}
ENGLISH = LANGUAGES["en"]
SIZES = {"usual": "usual print", "large": "large print"}
"""How large a wearer reads on paper."""
