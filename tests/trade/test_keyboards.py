"""A scanner's keys on another keyboard than the one it was set to, read back as what it meant."""

import pytest

from app.trade import keyboards


def refused(text: str) -> str:
    raise ValueError(f"'{text}' is not read.")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("26ß00417ßZ-3", "26-00417-Y/3"),  # German
        ("26?ẞ-", "26--/"),  # German, CapsLock on, as Windows and as Linux take it
        ('"&=', "260"),
        ("é-)àà'&è)Z!\"", "26-00417-W/3"),  # French
        ("ÉÇÀ", "290"),  # French, CapsLock on, as Linux takes it
        ("26°1°q§3", "26-1-A/3"),  # French, CapsLock on, as Windows takes it
        ("LQ?P", "LAMP"),
    ],
)
def test_what_comes_out_elsewhere_is_read_as_what_was_meant(typed: str, meant: str) -> None:
    assert meant in keyboards.readings(typed)


def test_a_keyboard_that_can_t_have_typed_all_of_it_has_no_reading() -> None:
    assert keyboards.readings("Größe 42") == ["Größe 42"]
    assert keyboards.readings("") == [""]


@pytest.mark.parametrize("name", keyboards.LAYOUTS)
def test_no_two_keys_of_a_keyboard_type_the_same(name: str) -> None:
    alone, shifted = keyboards.LAYOUTS[name]
    typed = [set(f"{key}{with_shift}".lower()) for key, with_shift in zip(alone, shifted, strict=True)]
    assert sum(map(len, typed)) == len(set().union(*typed))


@pytest.mark.parametrize("typed", ["]Q1LOT", " ]C0LOT", "+Q1LOT", "*q1lot", "$A&LOT"])
def test_the_symbology_s_name_in_front_is_left_out_on_every_keyboard(typed: str) -> None:
    assert "LOT" in keyboards.readings(typed)


def test_what_makes_sense_as_it_stands_is_read_so_and_else_on_the_only_keyboard_on_which_it_does() -> None:
    assert keyboards.understood("wz-1", str, refused, UnicodeError) == "wz-1"
    assert keyboards.understood("ß1", refused, str, UnicodeError) == "-1"


def test_what_would_say_different_things_on_two_keyboards_is_refused() -> None:
    assert set(keyboards.readings("az")) == {"az", "AY", "QW"}
    with pytest.raises(ValueError, match="'az' is not read"):
        keyboards.understood("az", refused, str, UnicodeError)


def test_of_several_refusals_the_one_that_found_a_form_is_told() -> None:
    class Misread(ValueError):
        pass

    def misread(text: str) -> str:
        raise Misread(f"'{text}' is wrong.")

    with pytest.raises(Misread, match="'-1' is wrong"):
        keyboards.understood("ß1", refused, misread, Misread)
