"""How a sheet of paper comes about: a template becomes a PDF, a payload becomes a QR code.

What stands on a sheet is read in app/paperwork/queries.py. WeasyPrint and its system library pango are loaded with the
first sheet, so that the rest of Pairtrail starts and works without them.
"""

import atexit
from functools import cache, lru_cache
from io import BytesIO
from threading import Lock
from typing import Any, NamedTuple
from urllib.parse import unquote, urlsplit

import segno
from markupsafe import Markup

from app.settings import ROOT
from app.templating import environment

STATIC = ROOT / "static"
ORIGIN = "https://paper.invalid/static/"
"""Where sheets believe their files to be. No such host can exist (RFC 6761) and nothing is ever asked of it."""
STYLES = ("paper-fonts.css", "paper.css")
KINDS = {".css": "text/css", ".woff2": "font/woff2", ".svg": "image/svg+xml"}
# Its fonts live in one C structure that several threads must not fill at once; a sheet takes a fraction of a second.
_one_at_a_time = Lock()


class NoPdf(Exception):
    """This machine lacks what PDFs are made with; a sheet can still be printed from the browser."""


class Press(NamedTuple):
    """WeasyPrint with our styles read and our fonts loaded, once in each process."""

    html: Any
    fetcher: Any
    styles: list[Any]
    fonts: Any


def file_at(url: str) -> tuple[bytes, str]:
    """The bytes and the kind of one of our own static files; ValueError for every other address, which stays out."""
    path = STATIC / unquote(urlsplit(url).path.removeprefix("/static/"))
    if not url.startswith(ORIGIN) or not path.resolve().is_relative_to(STATIC) or path.suffix not in KINDS:
        raise ValueError(f"A sheet is made of our own static files alone; it asked for {url[:200]}.")
    return path.read_bytes(), KINDS[path.suffix]


@cache
def press() -> Press:
    """Takes about a second the first time. NoPdf where pango is missing."""
    try:
        import weasyprint
        from weasyprint.text.fonts import FontConfiguration
        from weasyprint.urls import URLFetcher, URLFetcherResponse
    except (ImportError, OSError) as missing:
        raise NoPdf(str(missing)) from missing

    class OwnFiles(URLFetcher):  # type: ignore[misc]  # the library has no types
        """The library's own fetcher opens file:// and http://; this one knows nothing but static/."""

        def fetch(self, url: str, headers: Any = None) -> Any:  # noqa: ARG002 - the library calls it so
            body, kind = file_at(url)
            _, _, weight = url.partition("#wght=")
            return URLFetcherResponse(url, cut(body, int(weight)) if weight else body, {"Content-Type": kind})

    atexit.register(press.cache_clear)  # given back while what it gives back with still exists
    fetcher, fonts = OwnFiles(), FontConfiguration()
    styles = [weasyprint.CSS(url=ORIGIN + name, url_fetcher=fetcher, font_config=fonts) for name in STYLES]
    return Press(weasyprint.HTML, fetcher, styles, fonts)


def cut(variable: bytes, weight: int) -> bytes:
    """One weight of a variable font. A PDF holds no other kind, and WeasyPrint would cut it out anew for each sheet."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
    from fontTools.varLib.instancer import instantiateVariableFont  # type: ignore[import-untyped]

    made = BytesIO()
    font = instantiateVariableFont(TTFont(BytesIO(variable)), {"wght": weight}, static=True)
    font.flavor = None
    font.save(made)
    return made.getvalue()


def html(template: str, *, on_screen: bool = True, **values: Any) -> str:
    """The sheet as a page: with links to its styles for a browser, without them for the press, which has read them."""
    return environment.get_template(f"paperwork/{template}").render(values, on_screen=on_screen, styles=STYLES)


def pdf(template: str, *, fits: tuple[dict[str, Any], ...] = ({},), **values: Any) -> bytes:
    """The sheet as a PDF. `fits` are values to try one after the other until all of it stands on one page.

    If none does, the last one's pages are given.
    """
    with _one_at_a_time:
        made = press()
        for more in fits:
            text = html(template, on_screen=False, **(values | more))
            page = made.html(string=text, base_url=ORIGIN, url_fetcher=made.fetcher)
            document = page.render(font_config=made.fonts, stylesheets=made.styles)
            if len(document.pages) == 1:
                break
        return bytes(document.write_pdf())


@lru_cache(maxsize=128)  # a page of cards has dozens, the same at every look
def qr(payload: str) -> Markup:
    return drawn(payload)


def drawn(payload: str) -> Markup:
    """A QR code as an inline SVG with its quiet zone of four modules (ISO/IEC 18004); it can lose 15 % and be read.

    A secret is drawn by this: it is not kept.
    """
    made = segno.make_qr(payload, error="m").svg_inline(border=4, omitsize=True, svgclass="qr", lineclass=None)
    return Markup(made)  # noqa: S704 - the library draws modules, the payload's characters are not in it
