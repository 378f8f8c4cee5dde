"""Who asks, how a browser is let in and out, and who stands at a tablet of the bench."""

from app.people.sessions.asking import Ask, Called, Signed, cookie_name
from app.people.sessions.bench import (
    AskAtBench,
    AtBench,
    forget_ordinary,
    keep_tablet,
    let_on,
    lock,
    sign_on_page,
    tablet_hash,
)
from app.people.sessions.letting_in import (
    door,
    inside,
    install,
    keep_cookie,
    leave,
    let_in,
    on_loopback,
)

__all__ = [
    "Ask",
    "AskAtBench",
    "AtBench",
    "Called",
    "Signed",
    "cookie_name",
    "door",
    "forget_ordinary",
    "inside",
    "install",
    "keep_cookie",
    "keep_tablet",
    "leave",
    "let_in",
    "let_on",
    "lock",
    "on_loopback",
    "sign_on_page",
    "tablet_hash",
]
