"""Files are kept under names made here and come back unchanged."""

from pathlib import Path

import pytest

from app.errors import NotFound
from app.storage import Storage


def test_a_file_comes_back_as_it_was_under_a_name_nobody_typed(tmp_path: Path) -> None:
    storage = Storage(tmp_path)
    key = storage.keep(b"solid foot", "stl")
    assert storage.read(key) == b"solid foot"
    assert key.endswith(".stl")
    assert storage.keep(b"solid foot", "stl") != key


def test_a_file_that_is_gone_says_so(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no longer"):
        Storage(tmp_path).read("ab" * 16 + ".stl")
