"""Spreadsheets, calendar, mail and other doors to the world; the handlers of the outbox and the timetable."""
