"""The doors of the desks for people, one file a subject."""

from fastapi import APIRouter

from app.desks.pages import (
    agenda,
    belongings,
    boxes,
    cards,
    desk,
    drafting,
    dues,
    held,
    journal,
    materials,
    ordering,
    pair,
    photos,
    positives,
    reference,
    rights,
    scans,
    sheets,
    starts,
    station,
    station_data,
    transferring,
)

router = APIRouter(include_in_schema=False)
for subject in (
    agenda,
    desk,
    pair,
    photos,
    positives,
    belongings,
    dues,
    scans,
    transferring,
    ordering,
    drafting,
    starts,
    boxes,
    rights,
    journal,
    reference,
    sheets,
    cards,
    station,
    station_data,
    materials,
    held,
):
    router.include_router(subject.router)
