"""What a scan measures, on boxes whose measures are known; and what is refused, each with a sentence that helps."""

import math
import re
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from app.trade import footmesh
from app.trade.footmesh import FootMesh, NotAFootMesh

steady = settings(derandomize=True, deadline=None)


def box(
    width: float = 90, length: float = 250, height: float = 100, turn: float = 0, at: tuple[float, float] = (0, 0)
) -> trimesh.Trimesh:
    """A box along y, its far end turned by `turn` degrees towards +x."""
    sine, cosine = math.sin(math.radians(turn)), math.cos(math.radians(turn))
    move = [(cosine, sine, 0, at[0]), (-sine, cosine, 0, at[1]), (0, 0, 1, 0), (0, 0, 0, 1)]
    made: trimesh.Trimesh = trimesh.creation.box((width, length, height), transform=np.array(move))
    return made


def content(mesh: trimesh.Trimesh, kind: str) -> bytes:
    made: Any = mesh.export(file_type=kind)
    return made if isinstance(made, bytes) else bytes(made, "ascii")


def read(mesh: trimesh.Trimesh, kind: str = "stl") -> FootMesh:
    return footmesh.read(content(mesh, kind), kind)


@pytest.mark.parametrize("kind", footmesh.KINDS)
def test_a_box_measures_what_it_is_in_every_kind_of_file(kind: str) -> None:
    mesh = read(box(), kind)
    assert (mesh.kind, mesh.triangles, mesh.watertight) == (kind, 12, True)
    assert (mesh.axis_width_mm, mesh.axis_length_mm, mesh.height_mm) == (90, 250, 100)
    assert (mesh.width_mm, mesh.length_mm, mesh.turned_deg) == (90, 250, 0)
    assert mesh.volume_cm3 == pytest.approx(9 * 25 * 10)


def test_an_stl_written_as_text_is_read_like_a_binary_one() -> None:
    assert footmesh.read(content(box(turn=10), "stl_ascii"), "stl").length_mm == pytest.approx(250)


def test_a_binary_stl_may_begin_like_a_text() -> None:
    binary = content(box(), "stl")
    assert footmesh.read(b"solid foot".ljust(80) + binary[80:], "stl").triangles == 12


@steady
@given(turn=st.floats(-44.9, 44.9), x=st.floats(-500, 500), y=st.floats(-500, 500))
def test_a_turned_box_keeps_its_sides_and_tells_its_turn(turn: float, x: float, y: float) -> None:
    mesh = read(box(turn=turn, at=(x, y)))
    assert mesh.width_mm == pytest.approx(90, abs=0.01)
    assert mesh.length_mm == pytest.approx(250, abs=0.01)
    assert mesh.turned_deg == pytest.approx(turn, abs=0.01)
    assert mesh.axis_width_mm >= mesh.width_mm - 0.01


def test_toes_turned_out_are_positive_on_both_sides() -> None:
    to_the_right = read(box(turn=8))
    assert to_the_right.toe_out_deg("R") == pytest.approx(8, abs=0.01)
    assert to_the_right.toe_out_deg("L") == pytest.approx(-8, abs=0.01)
    assert read(box(turn=80)).toe_out_deg("L") is None


def test_a_foot_that_points_the_other_way_lies_as_it_lies() -> None:
    assert read(box(turn=188)).toe_out_deg("R") == pytest.approx(8, abs=0.01)


@steady
@given(points=st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=3, max_size=40, unique=True))
def test_no_direction_is_narrower_than_the_box(points: list[tuple[int, int]]) -> None:
    cloud = np.array(points, dtype=float)
    if np.linalg.matrix_rank(cloud - cloud[0]) < 2:
        return
    width, length, turned = footmesh.smallest_width_box(cloud)
    for turn in np.linspace(0, math.pi, 181):
        assert np.ptp(cloud @ (math.cos(turn), math.sin(turn))) >= width - 1e-9
    across = math.radians(turned)
    assert np.ptp(cloud @ (math.cos(across), -math.sin(across))) == pytest.approx(width)
    assert length >= width - 1e-9


def test_an_open_surface_has_no_volume() -> None:
    mesh = box()
    mesh.update_faces(np.arange(12) > 0)
    assert (read(mesh).watertight, read(mesh).volume_cm3) == (False, None)


def test_a_closed_surface_that_is_partly_inside_out_has_no_volume() -> None:
    mesh = box()
    mesh.faces[0] = mesh.faces[0][::-1]
    assert (read(mesh).watertight, read(mesh).volume_cm3) == (True, None)


def test_what_lies_beside_the_surface_is_not_measured() -> None:
    text = content(box(), "obj") + b"\nv 5000 0 0\n"
    assert footmesh.read(text, "obj").length_mm == 250


def test_an_obj_that_refers_to_files_is_measured_without_them(tmp_path: Path) -> None:
    text = f"mtllib {tmp_path}/secret.mtl\nusemtl skin\nmap_Kd /etc/hostname\n".encode() + content(box(), "obj")
    assert footmesh.read(text, "obj").triangles == 12


def refusal(sent: bytes, kind: str = "stl") -> str:
    with pytest.raises(NotAFootMesh) as refused:
        footmesh.read(sent, kind)
    return str(refused.value)


def scaled(factor: float) -> bytes:
    return content(box(90 * factor, 250 * factor, 100 * factor), "stl")


def with_corner(value: float) -> bytes:
    sent = bytearray(content(box(), "stl"))
    sent[96:100] = struct.pack("<f", value)
    return bytes(sent)


BINARY = content(box(), "stl")
TEXT = content(box(), "stl_ascii")
OBJ = content(box(), "obj")
PLY_HEAD = b"ply\nformat ascii 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\n"
PLY_FACES = b"element face %d\nproperty list uchar int vertex_indices\nend_header\n"


@pytest.mark.parametrize(
    ("sent", "kind", "words"),
    [
        (b"", "stl", "This file is empty"),
        (b"PK\x03\x04" + BINARY, "stl", r"archive \(zip\); unpack it"),
        (b"\x1f\x8b\x08" + BINARY, "obj", r"archive \(gzip\)"),
        (b"Rar!\x1a\x07" + BINARY, "ply", r"archive \(rar\)"),
        (BINARY[:-1], "stl", "holds 12 triangles, which take 684 bytes, but it is 683 bytes long"),
        (BINARY + b"\0", "stl", "684 bytes, but it is 685"),
        (BINARY[:80] + struct.pack("<I", 4_000_000_000) + BINARY[84:], "stl", "4,000,000,000 triangles"),
        (b"\0" * 40, "stl", "ends after 40 bytes"),
        (b"\0" * 84, "stl", "no triangles"),
        (b"solid foot\nendsolid foot\n" * 5, "stl", "could not be read as STL|no triangles"),
        (TEXT.replace(b"vertex", b"vertex x", 1), "stl", "could not be read as STL"),
        (b"solid\n" * 1_000_000, "stl", "could not be read as STL|no triangles"),
        (with_corner(math.nan), "stl", "no numbers"),
        (with_corner(math.inf), "stl", "no numbers"),
        (with_corner(-3e38), "stl", "wide"),
        (b"%PDF-1.7 ", "obj", "no OBJ file"),
        (b"v 0 0 0\nv 90 0 0\nv 0 250 0\n", "obj", "no triangles"),
        (OBJ + b"f 1 2 99\n", "obj", "could not be read|point at corners"),
        (OBJ.replace(b"f ", b"f -"), "obj", "counts its corners backwards"),
        (b"<html>", "ply", "no PLY file"),
        (PLY_HEAD % 900_000_000 + PLY_FACES % 12, "ply", "more than its .* can hold"),
        (PLY_HEAD % 0 + PLY_FACES % 0, "ply", "could not be read as PLY|no triangles"),
        (b"solid s\n" + b"endfacet\n" * 500_001, "stl", "500,001 triangles; at most 500,000"),
        (b"v 0 0 0\n" + b"f 1 1 1\n" * 500_001, "obj", "at most 500,000"),
        (PLY_HEAD % 3 + PLY_FACES % 500_001 + b"3 0 1 2\n" * 500_001, "ply", "at most 500,000"),
        (scaled(1 / 1000), "stl", "units are probably metres"),
        (scaled(1 / 25.4), "stl", "units are probably inches"),
        (scaled(1 / 22), "stl", "probably centimetres or inches"),
        (scaled(40), "stl", "from 20 to 500 mm.$"),
        (content(box(5, 250, 100), "stl"), "stl", "5 wide"),
    ],
)
def test_what_is_no_foot_is_refused_and_told_why(sent: bytes, kind: str, words: str) -> None:
    assert re.search(words, refusal(sent, kind))


def test_a_flat_sheet_is_no_foot() -> None:
    flat = trimesh.Trimesh([(0, 0, 0), (90, 0, 0), (0, 250, 0)], [(0, 1, 2)])
    assert "0 high" in refusal(content(flat, "stl"))


def test_the_kind_is_told_by_the_ending_and_only_three_are_taken() -> None:
    assert footmesh.kind_of("Left foot.final.STL") == "stl"
    for name in ("foot.zip", "foot", "stl", "foot.3mf", "foot.stl.gz"):
        with pytest.raises(NotAFootMesh, match="stl, obj or ply file"):
            footmesh.kind_of(name)


@steady
@given(kind=st.sampled_from(footmesh.KINDS), cut=st.integers(0, 800), noise=st.binary(max_size=60))
def test_a_damaged_file_is_measured_or_refused_and_nothing_else(kind: str, cut: int, noise: bytes) -> None:
    whole = content(box(), kind)
    try:
        assert footmesh.read(whole[:cut] + noise + whole[cut + len(noise) :], kind).triangles > 0
    except NotAFootMesh as fault:
        assert str(fault).endswith(".")


@steady
@given(st.floats(40, 120), st.floats(100, 300), st.floats(35, 150), st.floats(-80, 80))
def test_what_is_poured_into_a_box_is_its_ground_times_the_height(
    width: float, length: float, height: float, turn: float
) -> None:
    filled = read(box(width, length, height, turn), "ply").filled_cm3
    assert list(filled) == [str(each) for each in footmesh.FILL_HEIGHTS if each <= height]
    for each, volume in filled.items():
        assert volume == pytest.approx(width * length * int(each) / 1000, rel=1e-4)


@steady
@given(st.floats(0, 360), st.floats(20, 60), st.integers(0, 1000))
def test_more_is_poured_the_higher_it_is_filled_and_all_of_it_at_the_top(turn: float, high: float, seed: int) -> None:
    """A crooked convex body, however it stands."""
    points = np.random.default_rng(seed).normal(size=(40, 3)) * (40, 90, high)
    turned: Any = trimesh.transformations.rotation_matrix  # the library leaves it without types
    mesh = trimesh.convex.convex_hull(points @ turned(turn, (1, 2, 3))[:3, :3])
    heights = np.linspace(0, np.ptp(mesh.vertices[:, 2]), 12)
    volumes = [footmesh.filled_cm3(mesh.vertices, mesh.faces, height) for height in heights]
    assert volumes == sorted(volumes)
    assert [volumes[0], volumes[-1]] == pytest.approx([0, mesh.volume / 1000])


def test_a_tetrahedron_is_filled_by_the_cube_of_what_is_left_above() -> None:
    """Similar bodies: the tip above the water is (1 - h / H) cubed of the whole."""
    vertices = np.array([(0, 0, 0), (90, 0, 0), (0, 240, 0), (10, 20, 120)], dtype=np.float64)
    faces = np.array([(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)])
    for height in (0, 30, 77, 120, 200):
        whole = 90 * 240 / 2 * 120 / 3 / 1000
        left = (1 - min(height, 120) / 120) ** 3
        assert footmesh.filled_cm3(vertices, faces, height) == pytest.approx(whole * (1 - left))


def test_a_scan_that_is_open_at_the_ankle_is_measured_below_the_hole_and_one_open_at_the_sole_is_not() -> None:
    closed = box().subdivide()
    for open_at, filled in ((100.0, footmesh.FILL_HEIGHTS[:-1]), (0.0, ())):
        level = closed.vertices[closed.faces][:, :, 2] - closed.vertices[:, 2].min() == open_at
        mesh = read(trimesh.Trimesh(closed.vertices, closed.faces[~level.all(axis=1)]))
        assert not mesh.watertight
        below = {str(each): pytest.approx(9 * 2.5 * each) for each in filled}
        assert {key: value for key, value in mesh.filled_cm3.items() if key != "100"} == below


def test_a_surface_that_faces_both_ways_is_filled_by_nothing() -> None:
    mesh = box()
    faces = mesh.faces.copy()
    faces[3] = faces[3][::-1]
    assert read(trimesh.Trimesh(mesh.vertices, faces, process=False), "ply").filled_cm3 == {}
