"""What is done after a change and from time to time."""

from app.database import Database
from app.exchange.actions.timetable import TIMETABLE, Job, handlers, mail_handlers, timetable
from app.exchange.actions.worker import Worker
from app.settings import Settings

__all__ = ["TIMETABLE", "Job", "Worker", "handlers", "workers"]


def workers(database: Database, settings: Settings) -> list[Worker]:
    """All that work beside a server's pages; each has its own turn among the processes."""
    worker = Worker(database, timetable(settings), handlers(database, settings))
    mails = mail_handlers(database, settings)
    return [worker, Worker(database, (), mails, turn="mail")] if mails else [worker]
