"""A mail server to be told: a real one, on a port of this machine, that can be down, refuse, or break off."""

import asyncio
import secrets
import socket
from collections import Counter
from datetime import timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller

from app import clock
from app.database import Database
from app.exchange.actions import Worker, workers
from app.settings import Settings


class Catcher:
    """Keeps what it takes. `says` is answered instead of taking a message, as long as there is any of it."""

    def __init__(self) -> None:
        self._held = _hold_a_port()
        self.port = int(self._held.getsockname()[1])
        self.taken: list[EmailMessage] = []
        self.refuses: dict[str, str] = {}
        """What an address is answered."""
        self.says: list[str] = []
        """An answer to the message, "hangs up before" it is taken, or "hangs up after"."""
        self._controller: Controller | None = None

    def start(self, **how: Any) -> None:
        """`how` is the server's own: a certificate, whom it lets in."""
        self._held.close()
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port, **how)
        self._controller.start()

    def stop(self) -> None:
        self._held.close()
        if self._controller:
            self._controller.stop()
            self._controller = None

    async def handle_RCPT(self, _server: Any, _session: Any, envelope: Any, address: str, _options: Any) -> str:
        if address in self.refuses:
            return self.refuses[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, _session: Any, envelope: Any) -> str:
        says = self.says.pop(0) if self.says else ""
        if says and says != "hangs up after":
            if says != "hangs up before":
                return says
        else:
            message = message_from_bytes(envelope.content, policy=policy.default)
            assert isinstance(message, EmailMessage)
            self.taken.append(message)
        if says:
            server.transport.abort()
            await asyncio.sleep(0)
        return "250 OK"

    def mails(self) -> Counter[tuple[str, str]]:
        """To whom, and what stands on top."""
        return Counter((str(each["To"]).partition("@")[0], str(each["Subject"])) for each in self.taken)


def _hold_a_port() -> socket.socket:
    """Bound, so that nobody else gets it while the server is down; below those that systems give to connections."""
    while True:
        held = socket.socket()
        try:
            held.bind(("127.0.0.1", 20_000 + secrets.randbelow(12_000)))
        except OSError:
            held.close()
        else:
            return held


class Post:
    """The two that work beside a server, asked for one round at a time."""

    def __init__(self, database: Database, settings: Settings) -> None:
        self.workers: list[Worker] = workers(database, settings)

    def round(self) -> None:
        """What has come about, the letters that come of it, and what of them can be sent; twice, for what follows."""
        for _ in range(2):
            for each in self.workers:
                each.tick()

    def hours(self, many: int, each: int = 1) -> None:
        """So many hours go by, with a round each hour, or at the end of `each` so many."""
        for _ in range(many // each):
            clock.set_shift(clock.shift() + timedelta(hours=each))
            self.round()
