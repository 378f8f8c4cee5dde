"""What the mesh of a scanned foot measures: length, width, how the foot lay in it, whether its surface is closed.

It reads STL, OBJ and PLY from bytes alone; nothing that a file refers to is opened. What comes in from outside is read
in a process of its own (app/capture/inside.py), which alone imports the readers: a server only handles the result.
The axes are the file's: millimetres, z up, the foot along y, the subject's right along +x.
"""

import io
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

KINDS = ("stl", "obj", "ply")
MOST_TRIANGLES = 500_000
"""Several times what a foot scanner writes (from memory: twenty to two hundred thousand)."""
SHORTEST, LONGEST = 20.0, 500.0
"""Millimetres; wide enough for any foot with its ankle, narrow enough to tell another unit."""
MOST_TURNED = 45.0
"""Degrees; a foot that lies further from the y axis lies along another, and says nothing of toe-out."""
UNITS = (("metres", 1000.0), ("centimetres", 10.0), ("inches", 25.4))
A_FOOT = (100.0, 400.0)
"""Millimetres; from memory, a child's to the longest adult's: what another unit has to come to, to be guessed."""
FILL_HEIGHTS = (30, 40, 50, 60, 70, 80, 90, 100)
"""Millimetres above the lowest point up to which a positive may be poured, and a scan's volume is taken."""
_ARCHIVES = {b"PK": "zip", b"\x1f\x8b": "gzip", b"7z\xbc\xaf": "7z", b"Rar!": "rar", b"BZh": "bzip2", b"\xfd7zXZ": "xz"}
_RIM = np.linspace(0, 2 * np.pi, 16, endpoint=False)

Points = NDArray[np.float64]


class NotAFootMesh(ValueError):
    """Says what is wrong with the file and, where it can be told, what to do."""


@dataclass(frozen=True, slots=True)
class FootMesh:
    """Millimetres, degrees and cubic centimetres.

    `axis_*` is the box along the file's axes (x width, y length); `length_mm` and `width_mm` are of the box of
    smallest width round the foot as it is seen from above, and `turned_deg` is by how much that box's long side is
    turned from y towards +x.
    """

    kind: str
    triangles: int
    watertight: bool
    axis_width_mm: float
    axis_length_mm: float
    height_mm: float
    width_mm: float
    length_mm: float
    turned_deg: float
    volume_cm3: float | None
    """None unless the surface is closed and all of it faces outwards or all of it inwards."""
    filled_cm3: Mapping[str, float] = field(default_factory=dict)
    """Volume up to each of `FILL_HEIGHTS`, as text, below which the surface has no hole and which it reaches."""

    def toe_out_deg(self, side: str) -> float | None:
        """Towards the outer side of the foot `side` (L or R) positive; None if it lies along another axis."""
        if abs(self.turned_deg) > MOST_TURNED:
            return None
        return self.turned_deg if side == "R" else -self.turned_deg


def kind_of(name: str) -> str:
    """The kind of mesh that a file's name promises; NotAFootMesh for any other."""
    ending = name.rsplit(".", 1)[-1].lower() if "." in name else ""
    if ending not in KINDS:
        raise NotAFootMesh(f"A scan is an {', '.join(KINDS[:-1])} or {KINDS[-1]} file; '{name[-60:]}' is none of them.")
    return ending


def read(content: bytes, kind: str) -> FootMesh:
    """Measures the mesh in `content`, which is to be of this `kind`; NotAFootMesh says why it can't be."""
    if not content:
        raise NotAFootMesh("This file is empty.")
    for magic, name in _ARCHIVES.items():
        if content.startswith(magic):
            raise NotAFootMesh(f"This is an archive ({name}); unpack it and send the mesh itself.")
    _few_enough(_CHECKS[kind](content))
    vertices, faces = _load(content, kind)
    _few_enough(len(faces))
    if not len(faces):
        raise NotAFootMesh("There are no triangles in this file; points or lines alone can't be measured.")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise NotAFootMesh("Some triangles of this file point at corners that are not in it.")
    if not np.isfinite(vertices).all():
        raise NotAFootMesh("Some coordinates in this file are no numbers (NaN or infinite); export it again.")
    used = vertices[np.unique(faces)]
    extents = np.ptp(used, axis=0)
    _right_size(extents)
    width, length, turned = smallest_width_box(used[:, :2])
    watertight, volume, filled = _surface(vertices, faces)
    return FootMesh(
        kind=kind,
        triangles=len(faces),
        watertight=watertight,
        axis_width_mm=float(extents[0]),
        axis_length_mm=float(extents[1]),
        height_mm=float(extents[2]),
        width_mm=width,
        length_mm=length,
        turned_deg=turned,
        volume_cm3=volume,
        filled_cm3=filled,
    )


def smallest_width_box(points: Points) -> tuple[float, float, float]:
    """Width, length and turn (degrees from y towards +x, over -90 up to 90) of the narrowest box round (n, 2) points.

    One side of the narrowest strip round a convex polygon lies on an edge of it (Houle and Toussaint 1988, Computing
    the width of a set; from memory), so that trying every edge of the hull is exact.
    """
    hull = _hull(points)
    best = (np.inf, 0.0, 0.0)
    for edge in np.roll(hull, -1, axis=0) - hull:
        along = edge / np.hypot(*edge)
        across = np.array([-along[1], along[0]])
        width = float(np.ptp(hull @ across))
        if width < best[0]:
            x, y = along if along[1] > 0 or (along[1] == 0 and along[0] > 0) else -along
            best = (width, float(np.ptp(hull @ along)), float(np.degrees(np.arctan2(x, y))))
    return best


def _hull(points: Points) -> Points:
    """The corners of the convex hull of (n, 2) points, against the clock."""
    rim = points[[int(np.argmax(points @ (np.cos(turn), np.sin(turn)))) for turn in _RIM]]
    inside = np.ones(len(points), dtype=bool)
    for corner, following in zip(rim, np.roll(rim, -1, axis=0), strict=True):
        # Most points lie within the outermost ones and need not be walked.
        if (corner != following).any():
            inside &= _left_of(corner, following, points) > 0
    ordered = np.unique(points[~inside], axis=0).tolist()
    return np.array(_chain(ordered) + _chain(ordered[::-1]))


def _chain(ordered: list[list[float]]) -> list[list[float]]:
    """Half of the hull of points in the order of x and y, without its last corner (Andrew's monotone chain)."""
    chain: list[list[float]] = []
    for x, y in ordered:
        while len(chain) > 1:
            (ax, ay), (bx, by) = chain[-2:]
            if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0:
                break
            chain.pop()
        chain.append([x, y])
    return chain[:-1]


def _left_of(corner: Points, following: Points, points: Points) -> Points:
    dx, dy = following - corner
    left: Points = dx * (points[:, 1] - corner[1]) - dy * (points[:, 0] - corner[0])
    return left


def filled_cm3(vertices: Points, faces: NDArray[np.int64], height_mm: float) -> float:
    """The volume of a surface's inside below `height_mm` above its lowest point, in cubic centimetres.

    The divergence theorem for (0, 0, min(z - h, 0)), whose divergence is 1 below h and 0 above: the sum over the
    triangles of their area seen from above times the mean of min(z - h, 0), which is exact. What lies above h adds
    nothing, so the surface may be open there, as a scan is at the ankle. It has to face outwards or inwards throughout.
    """
    corners = vertices[faces]
    (x, y) = (corners[:, :, axis] for axis in (0, 1))
    seen = ((x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (x[:, 2] - x[:, 0]) * (y[:, 1] - y[:, 0])) / 2
    depth = corners[:, :, 2] - (vertices[np.unique(faces), 2].min() + height_mm)
    return abs(float((seen * _mean_below(np.sort(depth, axis=1))).sum())) / 1000


def _mean_below(depth: Points) -> Points:
    """The mean of min(w, 0) over triangles where w is linear, from its values at the corners, rising: (n, 3)."""
    low, middle, high = depth.T
    mean = depth.mean(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        tip = low**3 / (3 * (middle - low) * (high - low))  # one corner below
        left_out = high**3 / (3 * (high - low) * (high - middle))  # one corner above
    below: Points = np.select([high <= 0, low >= 0, middle >= 0], [mean, 0.0, tip], mean - left_out)
    return below


def _surface(vertices: Points, faces: NDArray[np.int64]) -> tuple[bool, float | None, dict[str, float]]:
    """Whether each edge belongs to just two triangles, and then the volume; what is filled up to each height."""
    import trimesh

    mesh = trimesh.Trimesh(vertices, faces, process=False)
    mesh.merge_vertices()  # STL repeats a corner in each triangle
    if not mesh.is_winding_consistent:
        return bool(mesh.is_watertight), None, {}
    top = _closed_up_to(np.asarray(mesh.vertices), np.asarray(mesh.edges_sorted))
    filled = {str(h): filled_cm3(mesh.vertices, mesh.faces, h) for h in FILL_HEIGHTS if h <= top}
    if not mesh.is_watertight:
        return False, None, filled
    return True, abs(float(mesh.volume)) / 1000, filled


def _closed_up_to(vertices: Points, edges: NDArray[np.int64]) -> float:
    """The height above the lowest point of the lowest edge that does not belong to two triangles, or of the top.

    `edges` are (n, 2), the lower corner's number first.
    """
    heights = vertices[:, 2] - vertices[edges, 2].min()
    numbered, count = np.unique(edges @ np.array([len(vertices), 1]), return_counts=True)
    rims = np.stack(np.divmod(numbered[count != 2], len(vertices)))
    return float(heights[rims].min() if rims.size else heights[edges].max())


def _load(content: bytes, kind: str) -> tuple[Points, NDArray[np.int64]]:
    import trimesh

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            warnings.filterwarnings("error", "string or file could not be read to its end")  # or half a text is taken
            mesh: Any = trimesh.load_mesh(io.BytesIO(content), file_type=kind, process=False, skip_materials=True)
    except MemoryError:
        raise
    except Exception as fault:  # a damaged file can trip the readers anywhere
        words = f"This could not be read as {kind.upper()}: the file is damaged or something else."
        raise NotAFootMesh(words) from fault
    return np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces, dtype=np.int64)


def _stl(content: bytes) -> int:
    """How many triangles an STL promises; a binary one's length has to agree."""
    count = int.from_bytes(content[80:84], "little")
    if len(content) >= 84 and len(content) == 84 + 50 * count:
        return count
    if content[:512].lstrip()[:5].lower() == b"solid" and b"\0" not in content[:512]:
        return content.lower().count(b"endfacet")
    if len(content) < 84:
        raise NotAFootMesh(f"This STL ends after {len(content)} bytes; its header alone takes 84.")
    raise NotAFootMesh(
        f"This STL says that it holds {count:,} triangles, which take {84 + 50 * count:,} bytes, but it is "
        f"{len(content):,} bytes long: it is cut short, damaged or something else."
    )


def _obj(content: bytes) -> int:
    if b"\0" in content[:4096] or not re.search(rb"^v\s", content, re.MULTILINE):
        raise NotAFootMesh("This is no OBJ file: it has no line that begins with 'v'.")
    if re.search(rb"^f\s[^\n]*-", content, re.MULTILINE):
        # Backwards is from the line that says it, which the reader does not know: the shape would be another.
        raise NotAFootMesh("This OBJ counts its corners backwards, which is not read here; export it as STL or PLY.")
    return len(re.findall(rb"^f\s", content, re.MULTILINE))


def _ply(content: bytes) -> int:
    head, end, _ = content[:65_536].partition(b"end_header")
    if not head.startswith(b"ply") or not end:
        raise NotAFootMesh("This is no PLY file: it has no header from 'ply' to 'end_header'.")
    counts = {name: int(count) for name, count in re.findall(rb"element\s+(\w+)\s+(\d{1,18})", head)}
    vertices, faces = counts.get(b"vertex", 0), counts.get(b"face", 0)
    if 6 * vertices + 4 * faces > len(content):  # three numbers and a blank each take no less, as text or binary
        raise NotAFootMesh(
            f"This PLY says that it holds {vertices:,} corners and {faces:,} faces, more than its "
            f"{len(content):,} bytes can hold: it is cut short or damaged."
        )
    return faces


_CHECKS = {"stl": _stl, "obj": _obj, "ply": _ply}
"""What each kind can be told by before anything is read from it; answers how many faces are promised."""


def _few_enough(faces: int) -> None:
    if faces > MOST_TRIANGLES:
        raise NotAFootMesh(
            f"This file holds {faces:,} triangles; at most {MOST_TRIANGLES:,} are read. Export it with fewer."
        )


def _right_size(extents: Points) -> None:
    """The footprint has to be of a foot's order; a scan of the sole alone may be low."""
    x, y, z = (float(each) for each in extents)
    if min(x, y) >= SHORTEST and max(x, y, z) <= LONGEST and z > 0:
        return
    longest = max(x, y, z)
    guessed = [unit for unit, factor in UNITS if A_FOOT[0] <= longest * factor <= A_FOOT[1]]
    hint = f" Its units are probably {' or '.join(guessed)}: export it in millimetres." if guessed else ""
    raise NotAFootMesh(
        f"Seen in millimetres this mesh is {x:.3g} wide, {y:.3g} long and {z:.3g} high; a foot's width and length are "
        f"from {SHORTEST:g} to {LONGEST:g} mm.{hint}"
    )
