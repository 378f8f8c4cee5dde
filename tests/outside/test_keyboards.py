"""The layouts of app/trade/keyboards.py against X.Org's, pressed key by key, where they are installed.

libxkbcommon and the layouts of xkeyboard-config are what a Linux desktop types by (Debian: libxkbcommon0, xkb-data).
"""

import ctypes
from pathlib import Path

import pytest

from app.trade import keyboards

XKB = "libxkbcommon.so.0"
# Key codes of the letters' and digits' rows from left to right, as Linux numbers them, plus X's offset of 8.
ROWS = {10: "1234567890-", 24: "qwertyuiop", 35: "]", 38: "asdfghjkl", 52: "zxcvbnm", 61: "/"}
KEYS = {key: first + place for first, row in ROWS.items() for place, key in enumerate(row)}


class _Rules(ctypes.Structure):
    _fields_ = [(name, ctypes.c_char_p) for name in ("rules", "model", "layout", "variant", "options")]


class Board:
    """A keyboard of X.Org's with this layout, on which CapsLock may be on."""

    def __init__(self, layout: str, caps: bool) -> None:
        self.xkb = xkb = ctypes.CDLL(XKB)
        for made in ("xkb_context_new", "xkb_keymap_new_from_names", "xkb_state_new"):
            getattr(xkb, made).restype = ctypes.c_void_p
        xkb.xkb_keymap_new_from_names.argtypes = [ctypes.c_void_p, ctypes.POINTER(_Rules), ctypes.c_int]
        xkb.xkb_keymap_mod_get_index.argtypes = [ctypes.c_void_p, ctypes.c_char_p]
        xkb.xkb_state_new.argtypes = [ctypes.c_void_p]
        xkb.xkb_state_update_mask.argtypes = [ctypes.c_void_p, *[ctypes.c_uint32] * 6]
        xkb.xkb_state_key_get_utf8.argtypes = [ctypes.c_void_p, ctypes.c_uint32, ctypes.c_char_p, ctypes.c_size_t]
        rules = _Rules(b"evdev", b"pc105", layout.encode(), b"", b"")
        keymap = xkb.xkb_keymap_new_from_names(xkb.xkb_context_new(0), ctypes.byref(rules), 0)
        self.state = xkb.xkb_state_new(keymap)
        self.shift = 1 << xkb.xkb_keymap_mod_get_index(keymap, b"Shift")
        self.lock = 1 << xkb.xkb_keymap_mod_get_index(keymap, b"Lock") if caps else 0

    def types(self, payload: str, *, shifted: bool = False) -> str:
        """What comes out when a scanner presses the keys that would write `payload` on a US keyboard.

        `shifted` holds Shift down all the time, not for capital letters alone.
        """
        typed = ""
        for character in payload:
            shift = self.shift if shifted or character.isupper() else 0
            self.xkb.xkb_state_update_mask(self.state, shift, 0, self.lock, 0, 0, 0)
            out = ctypes.create_string_buffer(16)
            self.xkb.xkb_state_key_get_utf8(self.state, KEYS[character.lower()], out, len(out))
            typed += out.value.decode()
        return typed


@pytest.fixture(scope="module")
def installed() -> None:
    try:
        ctypes.CDLL(XKB)
    except OSError:
        pytest.skip("libxkbcommon is not installed")
    if not Path("/usr/share/X11/xkb/symbols/de").exists():
        pytest.skip("X.Org's layouts are not installed")


@pytest.mark.usefixtures("installed")
@pytest.mark.parametrize("caps", [False, True])
@pytest.mark.parametrize("layout", ["us", "de", "fr"])
def test_whatever_a_us_scanner_makes_of_every_key_is_read_as_what_it_meant(layout: str, caps: bool) -> None:
    board = Board(layout, caps)
    for meant in keyboards.US + keyboards.US.upper():
        assert meant.upper() in [each.upper() for each in keyboards.readings(board.types(meant))]


@pytest.mark.usefixtures("installed")
@pytest.mark.parametrize(("name", "layout"), [("German", "de"), ("French", "fr")])
def test_the_layouts_are_those_of_the_standard_keyboards(name: str, layout: str) -> None:
    alone, shifted = keyboards.LAYOUTS[name]
    board = Board(layout, caps=False)
    assert board.types(keyboards.US) == alone
    assert board.types(keyboards.US, shifted=True) == shifted
