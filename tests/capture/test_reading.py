"""Hostile files meet the wall: whatever they hold, reading ends soon, with a sentence, and the server goes on."""

import os
import time
from pathlib import Path

import pytest

from app.capture.reading import scans as reading
from app.capture.reading.scans import Limits
from app.settings import ROOT
from app.trade.footmesh import NotAFootMesh

FOOT = (ROOT / "app/demo/feet/adult-left.stl").read_bytes()


def refusal(name: str, content: bytes, limits: Limits = reading.USUAL) -> str:
    began = time.monotonic()
    with pytest.raises(NotAFootMesh) as refused:
        reading.read(name, content, limits)
    assert time.monotonic() - began < 30
    return str(refused.value)


def test_a_foot_comes_through_the_wall_with_its_measures() -> None:
    file = reading.read("Left Foot.STL", FOOT)
    assert file.content == FOOT
    assert (file.mesh.triangles, round(file.mesh.length_mm, 1)) == (2238, 244.4)


def test_what_is_wrong_with_a_file_is_told_through_the_wall() -> None:
    assert "archive (zip)" in refusal("foot.stl", b"PK\x03\x04" + FOOT)


def test_a_file_that_takes_more_memory_than_a_foot_needs_ends_alone() -> None:
    assert "more time or memory" in refusal("foot.stl", FOOT, Limits(memory_bytes=1_000_000))


def test_a_file_that_takes_more_time_than_a_foot_needs_ends_alone() -> None:
    # Each of a million solids is found, named and joined by itself.
    facet = b"solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 90 0 0\nvertex 0 250 9\nendloop\nendfacet\n"
    assert "more time or memory" in refusal("foot.stl", (facet + b"endsolid\n") * 400_000, Limits(cpu_seconds=2))


def test_a_reader_that_hangs_is_not_waited_for() -> None:
    assert "more time or memory" in refusal("foot.stl", FOOT, Limits(wait_seconds=0.01))


def test_a_text_of_a_million_lines_is_read_or_refused_within_the_limits() -> None:
    facet = b"facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 90 0 0\nvertex 0 250 90\nendloop\nendfacet\n"
    assert reading.read("foot.stl", b"solid foot\n" + facet * 143_000 + b"endsolid foot\n").mesh.triangles == 143_000


def test_a_file_that_refers_to_others_opens_none_of_them(tmp_path: Path) -> None:
    """A pipe that nobody writes to would hold whoever opened it until the time is over."""
    trap = tmp_path / "trap.mtl"
    os.mkfifo(trap)
    corners = b"v 0 0 0\nv 90 0 0\nv 0 250 0\nv 0 0 90\n"
    text = f"mtllib {trap}\nusemtl skin\n".encode() + corners + b"f 1 2 3\nf 1 2 4\nf 1 3 4\nf 2 3 4\n"
    assert reading.read("foot.obj", text, Limits(wait_seconds=20)).mesh.triangles == 4


def test_the_reader_is_told_nothing_of_the_server(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its environment is bare: settings that would break a Python inside do not reach it."""
    monkeypatch.setenv("PYTHONHOME", "/nowhere")
    assert reading.read("foot.stl", FOOT).mesh.watertight


def test_a_file_over_the_limit_is_not_even_read() -> None:
    assert "at most 60,000,000 are taken" in refusal("foot.stl", bytes(reading.MOST_BYTES + 1))
