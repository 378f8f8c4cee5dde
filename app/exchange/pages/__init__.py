"""The doors to other programs: a calendar by its secret address, and figures as workbooks."""

from fastapi import APIRouter

from app.exchange.pages import calendar, workbooks

router = APIRouter(include_in_schema=False)
for subject in (calendar, workbooks):
    router.include_router(subject.router)
