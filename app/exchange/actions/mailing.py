"""Sending letters: what one says is written when it is sent, so it tells what is so then, or is not sent at all."""

from datetime import timedelta
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from typing import Any
from urllib.parse import urlsplit

from sqlmodel import Session

from app import clock
from app.database import Database
from app.errors import NotFound
from app.exchange import rules
from app.exchange.actions import post
from app.exchange.actions.post import NotSent
from app.exchange.queries import telling
from app.exchange.rules import Words
from app.exchange.tables import Letter
from app.journal import actions as journal
from app.paperwork import queries as paper
from app.paperwork import sheets
from app.people import queries as people
from app.people.queries import told
from app.people.queries.told import Told
from app.settings import Settings
from app.templating import day_words

GIVES_UP = timedelta(days=1)


def send(database: Database, settings: Settings, facts: dict[str, Any]) -> None:
    """One letter. Raises NotSent to be asked again later, up to a day after the letter was written.

    The mail server may have taken it although its answer was lost: the next copy bears the same Message-ID.
    """
    with database.reading() as db:
        letter = db.get(Letter, facts["letter"])
        if letter is None or letter.ended_at is not None:
            return
        wants = (each for each in told.to_tell(db, letter.subject) if each.staff_id == letter.staff_id)
        told_of = next(wants, None)
        words = _words(db, settings.site, letter, told_of) if told_of else None
    if told_of is None or words is None:
        _end(database, letter, "void")
        return
    try:
        post.send(post.server_at(settings.smtp_url), _message(settings, letter, told_of.email, words), _host(settings))
    except NotSent as fault:
        if not fault.for_good and clock.now() - letter.made_at < GIVES_UP:
            raise
        _end(database, letter, "failed", fault.why)
    else:
        _end(database, letter, "sent")


def _message(settings: Settings, letter: Letter, to: str, words: Words) -> EmailMessage:
    """Plain text as RFC 5322 has it, with what is attached."""
    message = EmailMessage(policy=SMTP)
    message["From"], message["To"], message["Subject"] = settings.mail_from, to, words.title
    message["Date"] = format_datetime(clock.now())
    message["Message-ID"] = f"<{letter.id}.{letter.key}@{_host(settings)}>"
    message["List-Unsubscribe"] = f"<{settings.site}/me/told>"
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834, 5: nobody's absence note answers it
    message.set_content(words.body)
    if words.attached:
        name, content = words.attached
        message.add_attachment(content, maintype="application", subtype="pdf", filename=name)
    return message


def _words(db: Session, site: str, letter: Letter, told_of: Told) -> Words | None:
    """None if there is nothing to tell any more, or it is not this person's to know any more."""
    if letter.subject == "digest":
        today = clock.today(people.lab(db).zone)
        if letter.about != today.isoformat():
            return None
        return rules.digest(telling.digest(db, told_of), day_words(today), site)
    if letter.subject == "report":
        return _report(db, site, letter.about)
    if letter.pair_id is None or not telling.holds_still(db, letter):
        return None
    pair = telling.pair(db, letter.pair_id)
    if not told_of.of(letter.subject, pair.clinic_id):
        return None
    return rules.of_pair(letter.subject, pair.code, pair.clinic, site)


def _report(db: Session, site: str, month: str) -> Words | None:
    """None where nothing happened in that month."""
    try:
        report = paper.report(db, paper.read_month(month))
    except NotFound:
        return None
    zone = people.lab(db).zone
    try:
        pdf = sheets.pdf("report.html", report=report, zone=zone, printed=report.made_at)
    except sheets.NoPdf:
        pdf = None
    return rules.report(month, report.month, pdf, site)


def _end(database: Database, letter: Letter, state: str, why: str = "") -> None:
    """What was sent and what could not be stands in the journal: of what and to whom, never the words."""
    with database.writing() as db:
        row = db.get_one(Letter, letter.id, with_for_update=True)
        row.state, row.ended_at = state, clock.now()
        about = ("staff", row.staff_id) if row.pair_id is None else ("pair", row.pair_id)
        facts: dict[str, Any] = {"to": row.staff_id, "of": row.subject}
        if state == "sent":
            journal.write(db, "mail_sent", by=None, subject=about[0], subject_id=about[1], facts=facts)
        elif state == "failed":
            facts["why"] = why
            journal.write(db, "mail_failed", by=None, subject=about[0], subject_id=about[1], facts=facts)


def _host(settings: Settings) -> str:
    return urlsplit(settings.address).hostname or "localhost"
