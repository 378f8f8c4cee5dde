"""The rights page shows what the two tables decide: it is compared with what a person of one role is told."""

from html.parser import HTMLParser

from app.bench.rules.acts import ACTS
from app.people.permissions import RIGHTS, may
from app.people.rules import Role, Viewer
from tests.people.conftest import Browser


class _Rows(HTMLParser):
    """The words of every table row, cell by cell."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
        self._inside = tag in ("td", "th") or (self._inside and tag not in ("tr", "table"))

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self._inside = False

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.rows[-1][-1] += data


def rows(browser: Browser) -> dict[str, list[str]]:
    reader = _Rows()
    reader.feed(browser("manager").get("/people/rights").text)
    return {words[0].strip(): [" ".join(cell.split()) for cell in words[1:]] for words in reader.rows}


def alone(role: Role, clinic: int) -> Viewer:
    return Viewer(1, "Somebody", frozenset({role}), frozenset({clinic}), "UTC")


def test_every_right_says_what_each_role_is_really_told(browser: Browser) -> None:
    shown = rows(browser)
    for key, right in RIGHTS.items():
        for role, words in zip(Role, shown[right.meaning], strict=True):
            own, other = may(alone(role, 7), key, 7), may(alone(role, 8), key, 7)
            expected = "—" if not own else "yes" if other else "at the own clinics"
            assert words == expected, (key, role)


def test_every_act_is_listed_with_its_owners(browser: Browser) -> None:
    shown = rows(browser)
    for act in ACTS.values():
        cells = shown[act.button]
        if isinstance(act.owner, frozenset):
            assert cells == ["yes" if role in act.owner else "—" for role in Role], act.key
        else:
            assert cells[0] != "—", act.key
    assert shown["Done"] == ["in the lab", "on its way, at the clinic", "—"]
    assert shown["Answer"][1] == "if it waits on the clinic, supplier, wearer, payer"
    assert set(shown["Take back"]) == {"the own last act, within 10 min"}
