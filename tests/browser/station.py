"""A bench with its tablet and its scanner: what the tests of the scan station share."""

from collections.abc import Sequence

from playwright.sync_api import Page, expect

from app.bench.rules import cards


class Station:
    """A browser at `/bench`, and a scanner that types like a keyboard."""

    def __init__(self, page: Page, stage: str = "") -> None:
        self.page = page
        page.goto(f"/bench?stage={stage}" if stage else "/bench")
        self.ready()

    def ready(self) -> None:
        self.page.wait_for_selector("html[data-ready]", state="attached")

    def scan(self, text: str, pace: int = 7, enter: str = "Enter") -> None:
        self.page.keyboard.type(text, delay=pace)
        self.page.keyboard.press(enter)

    def card(self, card: cards.Card) -> None:
        self.scan(card.payload)

    def says(self, kind: str, *words: str) -> None:
        answer = self.page.locator("[data-answer] .answer")
        expect(answer).to_have_attribute("data-kind", kind)
        for each in words:
            expect(answer).to_contain_text(each)

    def lines(self, name: str) -> Sequence[str]:
        return self.page.locator(f"[data-{name}] li").all_inner_texts()
