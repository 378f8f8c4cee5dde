"""The lab of the bench's stories."""

from tests.bench.conftest import full_lab, lab

__all__ = ["full_lab", "lab"]
