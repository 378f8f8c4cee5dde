"""Reading a photo that came from outside: what it is by its content, how large, and its pixels written anew.

Nothing of the file itself is kept: neither what a camera notes in it (place, time, device) nor what else may hang on
it.
"""

import hashlib
import io
import re
from collections.abc import Sequence
from typing import NamedTuple

from anyio import CapacityLimiter, to_thread
from anyio.lowlevel import RunVar
from PIL import Image, ImageFile, ImageOps
from starlette.datastructures import UploadFile

MOST_BYTES = 15_000_000
MOST_FILES = 20
"""In one form that takes several: more than are kept, so that whoever chooses too many is told at the field."""
MOST_PIXELS = 40_000_000
LONGEST_PX = 2400
"""Of the photo that is kept: a pixel of it is a tenth of a degree on a heel that fills a quarter of its height."""
SMALL_PX = 320
"""Of the small one that lists show: twice what they need, for screens that are twice as fine."""
SMALLEST_PX = 200
QUALITY = 88
"""Of the JPEG; lines stay sharp to the pixel."""
AT_ONCE = 1
"""Photos read at the same time in one server process: forty megapixels take 160 MB while they are open."""
ONCE_MORE = "Choose these photos once more; a browser keeps what was typed, but no file."
_places: RunVar[CapacityLimiter] = RunVar("places of photo readers")
TAKEN = ("JPEG", "PNG", "WEBP")
_SEVERAL = ("PNG", "WEBP")
"""Kinds whose pictures after the first would move; a camera's JPEG may carry a preview, which is left out."""
_OTHERS = (
    (b"GIF8", "a GIF"),
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "an archive"),
    (b"BM", "a BMP"),
    (b"II*\x00", "a TIFF"),
    (b"MM\x00*", "a TIFF"),
)
_DRAWN = re.compile(rb"^(\xef\xbb\xbf)?\s*<(\?xml|svg|!doctype|html|!--)", re.IGNORECASE)
_HIDDEN = re.compile(rb"<script|<!doctype|<\?php\s|%PDF-1", re.IGNORECASE)
_ARCHIVE_END, _ARCHIVE_TAIL = b"PK\x05\x06", 66_000
"""How an archive ends, and how near to its end that stands."""


class NotAPhoto(ValueError):
    """Says what is wrong with the file and, where it can be told, what to do."""


class Photo(NamedTuple):
    """A photo as it is kept, and the same made small. `sha256` is of the file as it came."""

    jpeg: bytes
    small: bytes
    width_px: int
    height_px: int
    sha256: str


async def read_upload(upload: UploadFile) -> Photo:
    """As `read`, from a form's file and in a thread apart from those of the pages."""
    try:
        places = _places.get()
    except LookupError:
        places = CapacityLimiter(AT_ONCE)
        _places.set(places)
    return await to_thread.run_sync(lambda: read(upload.file.read()), limiter=places)


async def read_several(sent: Sequence[UploadFile | str], most: int) -> list[Photo]:
    """The photos of one field, as `read_upload`; NotAPhoto says of each what is wrong with it.

    A field that nobody filled in comes as a file without a name. A name alone is a file that was lost on its way, as
    when the form waited for a sign-in.
    """
    files = [each for each in sent if (each if isinstance(each, str) else each.filename)]
    uploads = [each for each in files if isinstance(each, UploadFile)]
    if len(uploads) < len(files):
        raise NotAPhoto(ONCE_MORE)
    if len(files) > most:
        raise NotAPhoto(f"{len(files)} photos were chosen; at most {most} go along with one act.")
    photos, faults = [], []
    for number, upload in enumerate(uploads, 1):
        try:
            photos.append(await read_upload(upload))
        except NotAPhoto as fault:
            faults.append(str(fault) if len(files) == 1 else f"Photo {number}: {fault}")
    if faults:
        raise NotAPhoto(" ".join(faults))
    return photos


def read(content: bytes) -> Photo:
    """The photo in a file, upright as it was taken, its pixels alone; NotAPhoto says what is wrong."""
    if len(content) > MOST_BYTES:
        raise NotAPhoto(f"This file has {len(content):,} bytes; at most {MOST_BYTES:,} are taken.")
    _refuse_others(content)
    # WeasyPrint lets the whole process open pictures that are cut off; half a photo of a foot is none.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        with Image.open(io.BytesIO(content), formats=TAKEN) as found:
            _refuse_sizes(found)
            shrunk = LONGEST_PX / max(*found.size, LONGEST_PX)
            # A JPEG is unpacked no larger than it is needed; other kinds don't know how.
            found.draft("RGB", (round(found.width * shrunk), round(found.height * shrunk)))
            picture = _upright(found)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise NotAPhoto(_too_many_pixels()) from None
    except NotAPhoto:
        raise
    except Exception as fault:
        # What the readers raise for a broken file is theirs to choose, from OSError to SyntaxError and struct.error.
        raise NotAPhoto(f"This photo is damaged or cut off ({type(fault).__name__}). Take or save it again.") from None
    small = picture.copy()
    small.thumbnail((SMALL_PX, SMALL_PX))
    digest = hashlib.sha256(content).hexdigest()
    return Photo(_as_jpeg(picture), _as_jpeg(small), picture.width, picture.height, digest)


def _refuse_others(content: bytes) -> None:
    """By how the file begins, and by what a program or archive that hides in a photo can't do without."""
    usual = "A photo is taken as JPEG, PNG or WebP."
    if _DRAWN.match(content[:400]):
        raise NotAPhoto(f"This file is a drawing or a page (SVG, XML or HTML), no photo. {usual}")
    for start, words in _OTHERS:
        if content.startswith(start):
            raise NotAPhoto(f"This file is {words}. {usual}")
    if content[4:12] in (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftypavif"):
        raise NotAPhoto(f"This file is HEIC or AVIF. {usual} A telephone's camera settings offer JPEG.")
    if not content.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF")):
        raise NotAPhoto(f"This file is no photo that is known here. {usual}")
    if _HIDDEN.search(content) or _ARCHIVE_END in content[-_ARCHIVE_TAIL:]:
        raise NotAPhoto("This photo has something else than a picture inside. Take it again with the camera.")


def _refuse_sizes(found: Image.Image) -> None:
    """From the file's head alone, before anything is unpacked."""
    width, height = found.size
    if width * height > MOST_PIXELS:
        raise NotAPhoto(_too_many_pixels(f"{width:,} by {height:,}"))
    if min(width, height) < SMALLEST_PX:
        raise NotAPhoto(f"This photo has {width} by {height} pixels; its shorter side needs at least {SMALLEST_PX}.")
    if found.format in _SEVERAL and getattr(found, "n_frames", 1) > 1:
        raise NotAPhoto("This file moves: it has several pictures. Take a single photo.")


def _too_many_pixels(size: str = "far too many") -> str:
    return f"This photo has {size} pixels; at most {MOST_PIXELS // 1_000_000} million are taken."


def _upright(found: Image.Image) -> Image.Image:
    """Turned as its camera was held, on white where it is transparent, no larger than is kept."""
    turned = ImageOps.exif_transpose(found)
    turned.thumbnail((LONGEST_PX, LONGEST_PX))
    if turned.mode in ("RGBA", "LA", "PA") or "transparency" in turned.info:
        ground = Image.new("RGB", turned.size, "white")
        clear = turned.convert("RGBA")
        ground.paste(clear, mask=clear.getchannel("A"))
        return ground
    return turned.convert("RGB")


def _as_jpeg(picture: Image.Image) -> bytes:
    """From the bare pixels, so that no profile, comment or note of the camera goes along."""
    bare = Image.frombytes("RGB", picture.size, picture.tobytes())
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, subsampling=0)
    return out.getvalue()
