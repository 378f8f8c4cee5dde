"""A clinic's part of one pair, from the first word of its order to a settled wearer, as the people there see it.

The lab's steps in between are told; what the clinic and the wearer do is clicked and typed.
"""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from app import clock
from app.bench.actions import parcels
from app.demo.legs import Angles, places
from app.people.tables import Clinic
from tests.bench.conftest import Lab
from tests.browser.clinic import RED_FLAG, answer, dispense, give_a_page, tap, type_an_order
from tests.browser.photos import BAREFOOT, IN_DEVICES, add, click, shown

ComeIn = Callable[..., Page]
LABEL = "UQ 3104"
WHO = "quay clinician"
STOP = "Stop wearing them and call your clinic now."


@pytest.fixture
def quay(story: Lab) -> int:
    """The clinic of this story: its pairs come by parcel, its wearers may have a page of their own."""
    clinic_id = story.house.clinics["quay"]
    with story.database.writing() as db:
        db.get_one(Clinic, clinic_id).wearer_pages = True
    return clinic_id


def test_a_pair_from_the_first_word_of_its_order_to_a_settled_wearer(
    come_in: ComeIn, chromium: Browser, story: Lab, quay: int
) -> None:
    begun = begin_an_order(come_in(WHO))
    clinician = come_in(WHO, width=820)
    code = go_on_and_order(clinician, begun)

    story.walk(code, "pour")
    story.act(code, "ask", reason="Met pad on which side?", waiting_on="clinic")
    answer_the_lab(clinician, code)
    story.walk(code, "send")
    send_a_parcel(story, quay, code)
    receive(clinician, code)

    measure(clinician, "without", BAREFOOT)
    measure(clinician, "with", IN_DEVICES)
    see_what_the_devices_turn(clinician)
    dispense(clinician)
    wearer = chromium.new_page(viewport={"width": 360, "height": 780})
    link = give_a_page(clinician)

    a_good_day(wearer, link)
    a_painful_day(wearer, link)
    a_day_with_a_red_flag(wearer, link)
    clinician = come_in(WHO)  # who comes back after days signs in again
    clear_the_red_flag(clinician, code)
    another_good_day(wearer, link)

    clinician = on_the_day_of_the_review(come_in, story, code)
    review_and_adjust(clinician)
    expect_closed(wearer, link)
    clinician = on_the_day_of_the_review(come_in, story, code)
    settle(clinician)
    wearer.close()


def begin_an_order(page: Page) -> re.Pattern[str]:
    """Leaves before it is ordered, and returns what a link to go on with it says."""
    page.goto("/orders/new")
    type_an_order(page, LABEL)
    expect(page.locator("[data-draft]")).to_contain_text("Kept as your draft until")
    page.goto("/")
    return re.compile(rf"Go on with what you began \({LABEL}, ")


def go_on_and_order(page: Page, begun: re.Pattern[str]) -> str:
    page.goto("/orders/new")
    page.get_by_role("link", name=begun).click()
    expect(page.locator('[name="R.shell_thickness"]')).to_have_value("4")
    page.locator('[name="R.shell_thickness"]').fill("5")
    page.get_by_role("button", name="Order the pair").click()
    code = page.locator("h1 .code").inner_text()
    expect(page.get_by_role("status")).to_contain_text(f"The pair's code is {code}")
    page.goto("/orders/new")
    expect(page.get_by_role("link", name=begun)).to_have_count(0)
    return code


def on_the_desk(page: Page, title: str, code: str) -> Locator:
    """The pair's line under this heading of the clinic's desk."""
    page.goto("/")
    part = page.locator("section", has=page.get_by_role("heading", name=title))
    return part.get_by_role("listitem").filter(has_text=code)


def answer_the_lab(page: Page, code: str) -> None:
    line = on_the_desk(page, "Questions from the lab", code)
    expect(line).to_contain_text("Met pad on which side?")
    expect(line).to_contain_text("stands still at To pour")
    line.get_by_role("link", name="Answer").click()
    expect(page.get_by_text("Parked: waits on the clinic")).to_be_visible()
    answer(page, "Left only")
    expect(page.get_by_text("Left only")).to_be_visible()
    expect(on_the_desk(page, "Questions from the lab", code)).to_have_count(0)


def send_a_parcel(story: Lab, clinic_id: int, code: str) -> None:
    with story.database.writing() as db:
        parcels.send(db, by=story.house.viewer("technician"), clinic_id=clinic_id, codes=[code], carrier="Bay post")


def receive(page: Page, code: str) -> None:
    """The parcel is opened at the clinic, and its pair waits to be dispensed."""
    page.get_by_role("link", name="Parcels").click()
    expect(page.get_by_role("group", name=code)).to_contain_text(LABEL)
    page.get_by_role("button", name="Receive the parcel").click()
    line = on_the_desk(page, "Come today", code)
    expect(line).to_contain_text("To dispense")
    line.get_by_role("link", name="Dispense").click()
    expect(page.get_by_role("heading", name="Dispensing")).to_be_visible()


def measure(page: Page, devices: str, angles: Angles) -> None:
    """A photo from behind: two points on each leg and two on each heel, and the angles stand there at once."""
    if "/stance" not in page.url:
        page.get_by_role("link", name="Measure stance").click()
    part = add(page, devices, angles)
    for where in places(angles).values():
        click(part, where)
    for name, angle in angles.items():
        assert abs(shown(part, name) - angle) <= 0.5, name
    part.get_by_role("button", name="Keep the angles").click()
    expect(page.get_by_role("status").first).to_contain_text("kept")


def see_what_the_devices_turn(page: Page) -> None:
    right = page.locator("#measured").get_by_role("table", name="Right")
    turned = right.get_by_role("row", name="Heel to the vertical")
    expect(turned).to_contain_text(
        re.compile(r"(9\.\d|10\.\d)° valgus.*(4\.\d|5\.\d)° valgus.*towards varus", re.DOTALL)
    )
    page.get_by_role("link", name="To the pair").click()
    expect(page.locator("#stance")).to_contain_text(re.compile("Right: heel .* without devices; heel .* with devices"))


def a_day_later() -> None:
    clock.set_shift(clock.shift() + timedelta(days=1))


def a_good_day(wearer: Page, link: str) -> None:
    wearer.goto(link)
    expect(wearer.get_by_text("Wear them for 1 h at most.")).to_be_visible()
    tap(wearer, "1 h", "good", "no")
    expect(wearer.get_by_role("button", pressed=True)).to_have_count(3)


def a_painful_day(wearer: Page, link: str) -> None:
    """The hours that would have risen stay as they are."""
    a_day_later()
    wearer.goto(link)
    expect(wearer.get_by_text("Wear them for 2 h at most.")).to_be_visible()
    tap(wearer, "2 h", "it hurts")
    expect(wearer.get_by_text("It hurt. The hours stay as they are")).to_be_visible()
    a_day_later()
    wearer.goto(link)
    expect(wearer.get_by_text("Wear them for 2 h at most.")).to_be_visible()


def a_day_with_a_red_flag(wearer: Page, link: str) -> None:
    wearer.goto(link)
    tap(wearer, "good", RED_FLAG)
    expect(wearer.get_by_text(STOP)).to_be_visible()


def hours_of(page: Page, day: int) -> Locator:
    """The line of a day of the plan, on the pair's page."""
    return page.get_by_role("table").get_by_role("row", name=re.compile(rf"^{day} "))


def clear_the_red_flag(page: Page, code: str) -> None:
    """It stands on the desk at once and holds the plan, until a clinician says that the wearer was seen."""
    red = page.locator(".banner.stop")
    expect(red).to_contain_text("A red flag was noted by a wearer at home: see the wearer now.")
    red.get_by_role("link", name=code).click()
    expect(page.get_by_text("Red flag: stop wearing, see the wearer now.")).to_be_visible()
    expect(page.get_by_text("What the wearer noted holds the hours until then.")).to_be_visible()
    page.get_by_text("The hours, day by day").click()
    for day in (2, 3, 4):
        expect(hours_of(page, day)).to_contain_text("2 h")
    page.get_by_role("button", name="Looked at and cleared").click()
    expect(page.get_by_role("button", name="Looked at and cleared")).to_have_count(0)
    page.goto("/")
    expect(page.get_by_text("A red flag was noted")).to_have_count(0)


def another_good_day(wearer: Page, link: str) -> None:
    """After it the hours rise again."""
    a_day_later()
    wearer.goto(link)
    expect(wearer.get_by_text(STOP)).to_have_count(0)
    expect(wearer.get_by_text("Wear them for 2 h at most.")).to_be_visible()
    tap(wearer, "2 h", "very good", "no")
    expect(wearer.locator(".day-hours").first).to_contain_text("3 h")


def on_the_day_of_the_review(come_in: ComeIn, story: Lab, code: str) -> Page:
    """The wearer has come: the clinician opens the pair from the desk."""
    due_on = story.row(code)["due_on"]
    clock.set_shift(clock.shift() + (due_on - clock.today(story.house.zone)))
    page = come_in(WHO)
    line = on_the_desk(page, "Reviews of these days", code)
    expect(line).to_contain_text("due today")
    line.get_by_role("link", name="Review").click()
    return page


def fill_in_the_outcome(page: Page, **scores: str) -> None:
    for label, score in scores.items():
        page.get_by_label(label.replace("_", " "), exact=True).fill(score)
    page.get_by_label("Skin", exact=True).select_option("clear")


def review_and_adjust(page: Page) -> None:
    """What was noted at home stands beside the first review; an arch is eased here, and the pair is worn on."""
    expect(page.get_by_role("heading", name="Review 1")).to_be_visible()
    noted = page.locator("section", has=page.get_by_role("heading", name="The wearer’s own page")).get_by_role(
        "listitem"
    )
    expect(noted).to_have_count(4)
    expect(noted.nth(1)).to_contain_text("a mark that stays")
    expect(noted.nth(2)).to_contain_text("it hurts")
    fill_in_the_outcome(page, Hours_a_day_reached="6", Pain_relief="40", Comfort="5", Pain="3")
    page.locator("summary", has_text="Adjust").click()
    page.get_by_role("group", name="Which side").get_by_label("left", exact=True).check()
    here = page.get_by_role("group", name="Here, left")
    here.get_by_label("Zone 1").select_option("medial_arch")
    here.get_by_label("What was done").first.select_option("heated")
    page.get_by_role("button", name="Adjust", exact=True).click()
    expect(page.get_by_role("status")).to_contain_text("decided on an adjustment")
    expect(page.get_by_role("heading", name="Review 2")).to_be_visible()
    before = page.locator("#fitting .log").first
    expect(before).to_contain_text(re.compile("comfort 5.*pain 3", re.IGNORECASE))
    expect(before).to_contain_text("medial arch")
    expect(before).to_contain_text("spot-heated and eased")


def expect_closed(wearer: Page, link: str) -> None:
    """The link was good until the review was held."""
    wearer.goto(link)
    expect(wearer.get_by_role("heading", name="This page is not open")).to_be_visible()


def settle(page: Page) -> None:
    expect(page.get_by_role("heading", name="Review 2")).to_be_visible()
    fill_in_the_outcome(page, Hours_a_day_reached="9", Pain_relief="80", Comfort="9", Pain="1")
    page.get_by_role("button", name="Settle").click()
    expect(page.get_by_role("status")).to_contain_text("It is settled")
    page.goto("/queue/wear_in")
    expect(page.get_by_text(LABEL)).to_have_count(0)
