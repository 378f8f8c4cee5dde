"""The report of a month that is over goes to managers, once, with the mail server down or up."""

from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime

import pypdfium2
import pytest

from app import clock
from app.database import Database
from tests.bench.conftest import Lab
from tests.exchange.mail import Catcher, Post
from tests.exchange.test_mail import NAMED, journal

Choose = Callable[..., None]


def turn(year: int, month: int, day: int, hour: int) -> None:
    clock.set_shift(clock.shift() + (datetime(year, month, day, hour, tzinfo=UTC) - clock.now()))


@pytest.fixture
def january(lab: Lab) -> str:
    turn(2027, 1, 11, 9)
    code = lab.order(**NAMED)
    lab.walk(code, "wear_in")
    return code


@pytest.mark.anywhere
def test_the_report_comes_on_the_morning_of_the_first_to_every_manager_once(
    lab: Lab, database: Database, january: str, post: Post, catcher: Catcher
) -> None:
    catcher.start()
    turn(2027, 1, 31, 23)
    post.round()
    turn(2027, 2, 1, 5)
    post.round()
    assert catcher.mails() == {}, "not before seven"
    turn(2027, 2, 1, 7)
    post.hours(30)
    assert catcher.mails() == Counter({(who, "Report of January 2027"): 1 for who in ("manager", "practitioner")})
    mail = catcher.taken[0]
    body = mail.get_body(("plain",))
    assert body is not None
    assert "https://pairs.lab.example/paper/report/2027-01.pdf" in body.get_content()
    (attached,) = mail.iter_attachments()
    assert (attached.get_content_type(), attached.get_filename()) == ("application/pdf", "report-2027-01.pdf")
    document = pypdfium2.PdfDocument(attached.get_content())
    words = " ".join(document[page].get_textpage().get_text_bounded() for page in range(len(document)))
    document.close()
    assert "Pairs dispensed" in words
    for secret in ("Elestren", "Polmear", "QX", "7731", january):
        assert secret not in words
        assert secret not in body.get_content()
    assert [(what, about, of) for what, about, _, of in journal(database)] == [("mail_sent", "staff", "report")] * 2


@pytest.mark.anywhere
def test_a_server_that_was_away_sends_it_later_in_the_first_week_and_then_no_more(
    january: str, post: Post, catcher: Catcher
) -> None:
    catcher.start()
    turn(2027, 2, 5, 3)
    post.round()
    assert len(catcher.taken) == 2
    turn(2027, 3, 8, 9)
    post.round()
    assert len(catcher.taken) == 2


@pytest.mark.anywhere
def test_a_manager_who_does_not_want_it_gets_none(january: str, post: Post, catcher: Catcher, choose: Choose) -> None:
    catcher.start()
    choose("manager", "late")
    turn(2027, 2, 1, 8)
    post.round()
    assert set(catcher.mails()) == {("practitioner", "Report of January 2027")}


def test_a_lab_that_has_only_just_begun_is_told_nothing_of_the_month_before(
    lab: Lab, post: Post, catcher: Catcher
) -> None:
    turn(2027, 2, 1, 8)
    catcher.start()
    lab.order()
    post.round()
    assert catcher.taken == []
