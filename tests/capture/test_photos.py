"""Which files are photos: what is taken and what becomes of it, and with which sentence the rest is refused."""

import io
import struct
import zipfile
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image, ImageFile

from app.capture.reading import photos as reading
from app.capture.reading.photos import NotAPhoto, read

pytestmark = pytest.mark.anywhere


def picture(kind: str, size: tuple[int, int] = (300, 400), mode: str = "RGB", **more: Any) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size, more.pop("colour", None) or 120).save(out, kind, **more)
    return out.getvalue()


@pytest.mark.parametrize(("kind", "mode"), [("JPEG", "RGB"), ("JPEG", "L"), ("JPEG", "CMYK"), ("PNG", "RGB")])
@pytest.mark.parametrize("size", [(300, 400), (400, 300)])
def test_a_photo_of_each_kind_becomes_a_plain_jpeg(kind: str, mode: str, size: tuple[int, int]) -> None:
    photo = read(picture(kind, size, mode))
    again = Image.open(io.BytesIO(photo.jpeg))
    assert (again.format, again.mode, again.size) == ("JPEG", "RGB", size)
    assert (photo.width_px, photo.height_px) == size
    assert set(again.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


@pytest.mark.parametrize(("kind", "mode"), [("PNG", "P"), ("PNG", "RGBA"), ("PNG", "I;16"), ("WEBP", "RGBA")])
def test_what_is_transparent_or_deep_is_flattened(kind: str, mode: str) -> None:
    content = picture(kind, (300, 400), mode, colour=(0, 0, 0, 0) if mode == "RGBA" else 120)
    flat = Image.open(io.BytesIO(read(content).jpeg))
    assert flat.mode == "RGB"
    if mode == "RGBA":
        assert min(flat.getpixel((150, 200))) > 250, "white shows through"  # type: ignore[arg-type]


@pytest.mark.parametrize("held", range(1, 9))
def test_every_way_to_hold_a_camera_ends_upright(held: int) -> None:
    """A dark corner that is at the top left as it was seen, whatever the sensor wrote and noted beside it."""
    seen = Image.new("RGB", (300, 400), "white")
    seen.paste("black", (0, 0, 100, 100))
    undo = {2: 0, 3: 3, 4: 1, 5: 5, 6: 2, 7: 6, 8: 4}  # EXIF's turn, and PIL's transposition that undoes it
    written = seen.transpose(Image.Transpose(undo[held])) if held in undo else seen
    exif = Image.Exif()
    exif[0x0112] = held
    out = io.BytesIO()
    written.save(out, "JPEG", exif=exif, quality=95)
    upright = Image.open(io.BytesIO(read(out.getvalue()).jpeg)).convert("L")
    assert upright.size == (300, 400)
    corners = [upright.getpixel(place) for place in ((30, 30), (270, 30), (30, 370), (270, 370))]
    assert [value < 60 for value in corners] == [True, False, False, False]  # type: ignore[operator]


def test_a_large_photo_is_kept_at_the_size_that_marking_needs() -> None:
    photo = read(picture("JPEG", (2600, 3900)))
    assert (photo.width_px, photo.height_px) == (1600, 2400)


def zipped() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("run.js", "alert(1)")
    return out.getvalue()


def moving(kind: str) -> bytes:
    out = io.BytesIO()
    frames = [Image.new("RGB", (300, 400), colour) for colour in ("red", "green", "blue")]
    frames[0].save(out, kind, save_all=True, append_images=frames[1:])
    return out.getvalue()


def png_of(width: int, height: int) -> bytes:
    """A PNG of a few kilobytes whose head promises this size."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = zlib.compress(bytes(1_000_000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def webp_head(width: int, height: int) -> bytes:
    """Only the head of a WebP, which says how large it will be."""
    body = (
        b"VP8X"
        + struct.pack("<I", 10)
        + bytes(4)
        + (width - 1).to_bytes(3, "little")
        + (height - 1).to_bytes(3, "little")
    )
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WEBP" + body


REFUSED: dict[str, tuple[Callable[[], bytes], str]] = {
    "nothing": (lambda: b"", "no photo that is known"),
    "words": (lambda: b"Dear lab, the photo follows.", "no photo that is known"),
    "a drawing": (lambda: b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>', "a drawing or a page"),
    "a drawing after its declaration": (lambda: b"\xef\xbb\xbf\n<?xml version='1.0'?><svg/>", "a drawing or a page"),
    "a page": (lambda: b"<!DOCTYPE html><script>alert(1)</script>", "a drawing or a page"),
    "a GIF": (lambda: picture("GIF"), "is a GIF"),
    "a moving GIF": (lambda: moving("GIF"), "is a GIF"),
    "a moving PNG": (lambda: moving("PNG"), "moves"),
    "a moving WebP": (lambda: moving("WEBP"), "moves"),
    "a TIFF": (lambda: picture("TIFF"), "is a TIFF"),
    "a telephone's own kind": (lambda: b"\x00\x00\x00\x18ftypheic" + bytes(50), "HEIC"),
    "a PDF": (lambda: b"%PDF-1.7\n" + picture("JPEG"), "is a PDF"),
    "an archive": (zipped, "is an archive"),
    "a photo with an archive on it": (lambda: picture("JPEG") + zipped(), "something else than a picture"),
    "a photo with a script in it": (
        lambda: picture("JPEG", comment=b"*/<SCRIPT>alert(1)</SCRIPT>"),
        "something else than a picture",
    ),
    "a photo with a PDF behind it": (lambda: picture("PNG") + b"%PDF-1.4 ...", "something else than a picture"),
    "half a JPEG": (lambda: picture("JPEG", (900, 1200), quality=95)[:4000], "damaged or cut off"),
    "half a PNG": (lambda: (made := picture("PNG", (900, 1200)))[: len(made) // 2], "damaged or cut off"),
    "half a WebP": (lambda: (made := picture("WEBP", (900, 1200)))[: len(made) // 2], "damaged or cut off"),
    "a JPEG's first bytes": (lambda: b"\xff\xd8\xff\xe0" + bytes(40), "damaged or cut off"),
    "a stamp": (lambda: picture("JPEG", (100, 900)), "its shorter side needs at least 200"),
    "a bomb of twenty gigabytes": (lambda: png_of(80_000, 80_000), "at most 40 million"),
    "a photo just too large": (lambda: png_of(8001, 5000), "8,001 by 5,000 pixels; at most 40 million"),
    "a WebP's head that promises too much": (lambda: webp_head(16_000, 16_000), "damaged|at most 40 million"),
    "too many bytes": (lambda: picture("JPEG") + bytes(reading.MOST_BYTES), "at most 15,000,000"),
}


@pytest.fixture(autouse=True)
def printed_before(monkeypatch: pytest.MonkeyPatch) -> None:
    """As in a process that has printed a paper: WeasyPrint lets it open pictures that are cut off."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)


@pytest.mark.parametrize("name", REFUSED)
def test_anything_else_is_refused_with_a_sentence(name: str) -> None:
    make, says = REFUSED[name]
    with pytest.raises(NotAPhoto, match=says):
        read(make())


def test_what_a_camera_hangs_on_a_photo_is_dropped() -> None:
    """A short film behind the picture, as telephones write: the photo is taken, the film is not."""
    photo = read(picture("JPEG") + b"\x00\x00\x00\x18ftypmp42 a film of the kitchen")
    assert b"kitchen" not in photo.jpeg
