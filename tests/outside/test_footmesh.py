"""Measures of four feet against what trimesh and SciPy say of them, and against a second working-out here.

The feet were cut from a human base mesh that is in the public domain (CC0; the provenance stands in
app/demo/feet/README.md). Their `measures.json` was made with trimesh (axis box, volume, watertight) and SciPy (hull),
its angle in steps and without a sign. The smallest-width box is worked out here a second time by turning SciPy's hull
(scipy.spatial.ConvexHull) through fine steps; volume and closed edges by plain sums over the triangles.
"""

import json
import struct
from collections import Counter
from typing import Any

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from app.settings import ROOT
from app.trade import footmesh

FEET = ROOT / "app/demo/feet"
MEASURED: list[dict[str, Any]] = json.loads((FEET / "measures.json").read_text())
each_foot = pytest.mark.parametrize("said", MEASURED, ids=lambda said: said["name"])


def triangles(name: str) -> NDArray[np.float64]:
    """(n, 3, 3) corners, unpacked by hand: 80 bytes of header, a count, and 50 bytes a triangle, little-endian."""
    content = (FEET / name).read_bytes()
    (count,) = struct.unpack_from("<I", content, 80)
    rows = [struct.unpack_from("<9f", content, 84 + 50 * number + 12) for number in range(count)]
    return np.array(rows, dtype=np.float64).reshape(-1, 3, 3)


@each_foot
def test_the_measures_given_with_the_feet_are_ours(said: dict[str, Any]) -> None:
    mesh = footmesh.read((FEET / said["name"]).read_bytes(), "stl")
    assert (mesh.triangles, mesh.watertight) == (said["triangles"], said["watertight"])
    axis_box = (mesh.axis_width_mm, mesh.axis_length_mm, mesh.height_mm)
    assert axis_box == pytest.approx(said["axis_box_mm"], abs=0.051)
    narrowest = said["min_width_box"]
    assert (mesh.width_mm, mesh.length_mm) == pytest.approx((narrowest["width"], narrowest["length"]), abs=0.051)
    assert abs(mesh.turned_deg) == pytest.approx(narrowest["toe_out_deg"], abs=0.1)
    assert mesh.volume_cm3 == pytest.approx(said["volume_cm3"], abs=0.051)


@each_foot
def test_no_turn_of_scipy_s_hull_is_narrower(said: dict[str, Any]) -> None:
    mesh = footmesh.read((FEET / said["name"]).read_bytes(), "stl")
    seen = triangles(said["name"]).reshape(-1, 3)[:, :2]
    hull = seen[ConvexHull(seen).vertices]
    turns = np.radians(np.arange(-90, 90, 0.005))
    widths = np.ptp(hull @ np.stack([np.cos(turns), -np.sin(turns)]), axis=0)
    at = turns[widths.argmin()]
    assert mesh.width_mm == pytest.approx(widths.min(), abs=0.01)
    assert mesh.width_mm <= widths.min() + 1e-9
    assert mesh.turned_deg == pytest.approx(np.degrees(at), abs=0.01)
    assert mesh.length_mm == pytest.approx(np.ptp(hull @ (np.sin(at), np.cos(at))), abs=0.05)


@each_foot
def test_volume_and_closed_edges_come_out_of_plain_sums(said: dict[str, Any]) -> None:
    mesh, corners = footmesh.read((FEET / said["name"]).read_bytes(), "stl"), triangles(said["name"])
    signed = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6
    assert mesh.volume_cm3 == pytest.approx(abs(signed) / 1000)
    points = [[tuple(corner) for corner in triangle] for triangle in corners]
    edges = Counter(frozenset((t[a], t[b])) for t in points for a, b in ((0, 1), (1, 2), (2, 0)))
    assert mesh.watertight is (set(edges.values()) == {2})


def test_the_big_toe_tells_which_way_a_foot_is_turned() -> None:
    """The farthest point is the big toe's; on a right foot it lies towards the left, and the toes are turned to it."""
    right = triangles("adult-right.stl").reshape(-1, 3)
    assert right[right[:, 1].argmax()][0] < 0
    for side, name in (("R", "adult-right.stl"), ("L", "adult-left.stl")):
        turned = footmesh.read((FEET / name).read_bytes(), "stl").toe_out_deg(side)
        assert turned is not None
        assert turned < 0


@each_foot
@pytest.mark.parametrize("height", footmesh.FILL_HEIGHTS)
def test_what_is_poured_into_a_foot_is_what_trimesh_cuts_off_below(said: dict[str, Any], height: int) -> None:
    """trimesh.intersections.slice_faces_plane cuts the triangles; the flat cut adds nothing seen from its own plane."""
    mesh = trimesh.load_mesh(FEET / said["name"])
    level = mesh.bounds[0][2] + height
    cut: Any = trimesh.intersections.slice_faces_plane  # the library leaves it without types
    vertices, faces, _ = cut(mesh.vertices, mesh.faces, (0, 0, -1), (0, 0, level))
    corners = vertices[faces] - (0, 0, level)
    cut_off = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6000
    filled = footmesh.read((FEET / said["name"]).read_bytes(), "stl").filled_cm3
    assert filled[str(height)] == pytest.approx(cut_off, rel=1e-6)
