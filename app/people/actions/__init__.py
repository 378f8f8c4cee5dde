"""Changing who works here, who is signed in and how the lab is set; every change is journalled with it."""

from app.people.actions.badges import choose_pin, clear_pin, make_badge, void_badge
from app.people.actions.joining import (
    accept,
    find_link,
    invite,
    password_link,
    set_up_lab,
    set_up_link,
    withdraw_invitation,
)
from app.people.actions.lab import change_lab, change_limits, keep_clinic
from app.people.actions.passwords import Passwords
from app.people.actions.signing import (
    count,
    count_calendar_try,
    count_try,
    drop_old_sessions,
    end_idle,
    end_token,
    failed,
    is_used_up,
    make_token,
    mark_seen,
    sign_in,
    sign_out,
    start_session,
    whose_password,
)
from app.people.actions.signing_on import count_sign_on, refuse_sign_on, sign_off, sign_on, whose_badge
from app.people.actions.staff import change_staff, end_access
from app.people.actions.stations import end_station, enrol
from app.people.actions.told import choose_told, end_calendar, make_calendar

__all__ = [
    "Passwords",
    "accept",
    "change_lab",
    "change_limits",
    "change_staff",
    "choose_pin",
    "choose_told",
    "clear_pin",
    "count",
    "count_calendar_try",
    "count_sign_on",
    "count_try",
    "drop_old_sessions",
    "end_access",
    "end_calendar",
    "end_idle",
    "end_station",
    "end_token",
    "enrol",
    "failed",
    "find_link",
    "invite",
    "is_used_up",
    "keep_clinic",
    "make_badge",
    "make_calendar",
    "make_token",
    "mark_seen",
    "password_link",
    "refuse_sign_on",
    "set_up_lab",
    "set_up_link",
    "sign_in",
    "sign_off",
    "sign_on",
    "sign_out",
    "start_session",
    "void_badge",
    "whose_badge",
    "whose_password",
    "withdraw_invitation",
]
