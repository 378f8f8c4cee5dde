"""What is done after a change and from time to time."""

from app.exchange.actions.timetable import HANDLERS, TIMETABLE, Job
from app.exchange.actions.worker import Worker

__all__ = ["HANDLERS", "TIMETABLE", "Job", "Worker"]
