"""The machine's picture in DEVELOPERS.md is the machine."""

from app.bench.rules.diagram import BEGIN, END, diagram
from app.settings import ROOT


def test_the_picture_in_the_developers_page_is_the_machine_as_it_is() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert page.split(BEGIN)[1].split(END)[0].strip() == diagram().strip(), (
        "Put the output of `.venv/bin/python -m app.bench.rules.diagram` between the two marks."
    )
