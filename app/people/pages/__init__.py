"""The doors of this room: signing in and the links, people and their rights, the lab's settings, tablets,
what one is told."""

from fastapi import APIRouter

from app.people.pages import badges, bench, door, lab, staff, told

router = APIRouter(include_in_schema=False)
for each in (door, staff, lab, bench, badges, told):
    router.include_router(each.router)
