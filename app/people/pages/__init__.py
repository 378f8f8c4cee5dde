"""The doors of this room: signing in and the links, the people and their rights, the lab's settings and clinics."""

from fastapi import APIRouter

from app.people.pages import door, lab, staff

router = APIRouter(include_in_schema=False)
for each in (door, staff, lab):
    router.include_router(each.router)
