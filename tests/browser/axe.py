"""What axe-core has against a page."""

from typing import Any

from axe_core_python.sync_playwright import Axe
from playwright.sync_api import Page


def violations(page: Page) -> list[Any]:
    """Each with its id and the nodes it is about; what is fine is not told, which would take half as long again."""
    found: Any = Axe().run(page, options={"resultTypes": ["violations"]})
    return list(found["violations"])
