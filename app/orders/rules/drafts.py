"""What is kept of an order that is still being typed, and for how long."""

import re
import secrets
from collections.abc import Mapping
from datetime import timedelta
from typing import Any

KEPT = timedelta(days=30)
"""From the last change; common practice for what may be about a wearer and was never ordered."""
MOST = 20
"""Drafts of one person at a time."""
LONGEST = 60_000
"""Characters of one draft; an order with every note filled in has about 40,000."""
_NOT_KEPT = frozenset({"draft", "copy", "keep_draft", "keep_start", "take", "start_name", "start_for", "start_id"})
"""What a form says of its buttons and of itself, not of the order."""


def new_key() -> str:
    """Names a form's draft before it is first kept, so that however often it is sent there is one."""
    return secrets.token_urlsafe(12)


def is_key(text: str) -> bool:
    return re.fullmatch(r"[\w-]{8,40}", text, re.ASCII) is not None


def kept_of(typed: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of a form that a draft keeps; files are none of them, and neither is what is empty."""
    return {name: value for name, value in typed.items() if value and name not in _NOT_KEPT and name[:5] != "scan."}
