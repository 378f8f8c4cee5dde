"""The doors of the desks for programs, one file a subject."""

from fastapi import APIRouter

from app.desks.api import belongings, lots, trail

router = APIRouter()
for subject in (trail, belongings, lots):
    router.include_router(subject.router)
