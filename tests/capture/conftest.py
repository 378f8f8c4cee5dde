"""The lab of the bench's stories, and the whole app over it for those that send files."""

from tests.bench.conftest import full_lab, lab
from tests.desks.conftest import app, browser, house, program

__all__ = ["app", "browser", "full_lab", "house", "lab", "program"]
