"""What a page's forms hold, read as a browser would: by the standard library's HTML parser, not by looking for text."""

from dataclasses import dataclass, field
from html.parser import HTMLParser


@dataclass
class Filled:
    values: dict[str, str] = field(default_factory=dict)
    """What each field of text, each list and each area holds, by name."""
    ticked: list[tuple[str, str]] = field(default_factory=list)
    """Name and value of every box that is ticked."""
    hidden: list[tuple[str, str]] = field(default_factory=list)
    """Name and value of what is sent along unseen."""
    wrong: set[str] = field(default_factory=set)
    """Names of the fields marked as wrong."""
    tags: list[str] = field(default_factory=list)
    """Every element of the page."""


def read(html: str) -> Filled:
    reader = _Reader()
    reader.feed(html)
    return reader.filled


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.filled = Filled()
        self._area = self._list = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {key: value or "" for key, value in attrs}
        name = given.get("name", "")
        self.filled.tags.append(tag)
        if given.get("aria-invalid") == "true":
            self.filled.wrong.add(name)
        if tag == "input" and given.get("type") in ("checkbox", "radio"):
            if "checked" in given:
                self.filled.ticked.append((name, given.get("value", "on")))
        elif tag == "input":
            if given.get("type") == "hidden":
                self.filled.hidden.append((name, given.get("value", "")))
            self.filled.values[name] = given.get("value", "")
        elif tag == "textarea":
            self._area = name
            self.filled.values[name] = ""
        elif tag == "select":
            self._list = name
            self.filled.values[name] = ""
        elif tag == "option" and "selected" in given:
            self.filled.values[self._list] = given.get("value", "")

    def handle_data(self, data: str) -> None:
        if self._area:
            self.filled.values[self._area] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self._area = ""
