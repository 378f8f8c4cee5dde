"""A manager tries what would help: with sliders that are answered at once, by keyboard alone, and without scripts."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

SignIn = Callable[..., Page]
FIGURES = re.compile(r"(\d+) keep their day as tried, (\d+) as it is")


@pytest.fixture
def stock() -> int:
    return 25


def test_a_slider_s_answer_is_seen_at_once_and_can_be_passed_on(sign_in: SignIn, address: str) -> None:
    page = sign_in("manager", width=820)
    page.goto(f"{address}/turnaround/what-if")
    away = page.get_by_label("To cover: people away", exact=True)
    slider = page.get_by_label("To cover: people away, slider")
    expect(page.locator("[data-outcome]")).to_contain_text("keep their day. Fill in below")
    slider.focus()
    page.keyboard.press("End")
    expect(away).to_have_value(re.compile(r"^[1-9]\d*$"))
    expect(page.locator("[data-outcome]")).to_contain_text(FIGURES)
    expect(page.get_by_role("status")).to_contain_text(FIGURES)
    expect(page.get_by_role("status")).to_be_in_viewport()
    expect(slider).to_be_focused()
    assert re.search(r"away\.cover=\d", page.url), "the address leads back to what was tried"
    tried = page.locator("[data-outcome]").inner_text()
    page.reload()
    expect(page.locator("[data-outcome]")).to_have_text(tried)
    expect(slider).not_to_have_value("0")

    slider.focus()
    page.keyboard.press("Home")
    expect(away).to_have_value("")
    expect(page.locator("[data-outcome]")).to_contain_text("keep their day. Fill in below")


def test_a_slider_follows_what_is_typed_and_what_can_t_be_is_said_at_its_field(sign_in: SignIn, address: str) -> None:
    page = sign_in("manager")
    page.goto(f"{address}/turnaround/what-if")
    rush = page.get_by_label("Rush pairs more, at once", exact=True)
    rush.fill("20")
    expect(page.get_by_label("Rush pairs more, at once, slider")).to_have_value("20")
    rush.press("Tab")
    expect(page.get_by_role("status")).to_contain_text(FIGURES)
    rush.fill("501")
    rush.press("Tab")
    expect(page.get_by_role("alert")).to_contain_text("Rush pairs: a whole number from 0 to 500")
    expect(rush).to_have_value("501")


def test_without_scripts_numbers_are_typed_and_sent(sign_in: SignIn, address: str) -> None:
    page = sign_in("manager", javascript=False)
    page.goto(f"{address}/turnaround/what-if")
    expect(page.get_by_role("slider")).to_have_count(0)
    page.get_by_label("Rush pairs more, at once").fill("20")
    page.get_by_role("button", name="Try it").click()
    expect(page.locator("[data-outcome]")).to_contain_text(FIGURES)
