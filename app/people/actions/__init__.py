"""Changing who works here, who is signed in and how the lab is set; every change is journalled with it."""

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
    count_try,
    drop_old_sessions,
    end_idle,
    end_token,
    failed,
    make_token,
    mark_seen,
    sign_in,
    sign_out,
    start_session,
    whose_password,
)
from app.people.actions.staff import change_staff, end_access

__all__ = [
    "Passwords",
    "accept",
    "change_lab",
    "change_limits",
    "change_staff",
    "count_try",
    "drop_old_sessions",
    "end_access",
    "end_idle",
    "end_token",
    "failed",
    "find_link",
    "invite",
    "keep_clinic",
    "make_token",
    "mark_seen",
    "password_link",
    "set_up_lab",
    "set_up_link",
    "sign_in",
    "sign_out",
    "start_session",
    "whose_password",
    "withdraw_invitation",
]
