"""Turnaround for programs, one file a subject."""

from fastapi import APIRouter

from app.turnaround.api import forecasts, times

router = APIRouter()
for subject in (times, forecasts):
    router.include_router(subject.router)
