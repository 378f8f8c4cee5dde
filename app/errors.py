"""What can stand in the way of a request: each class is a statement and carries its HTTP status here, nowhere else.

The sentence given to the class is shown to the person as it stands, so it says what was asked, what is in the way
and what to do. `facts` travel beside it into problem+json answers.
"""

from collections.abc import Mapping
from typing import Any


class Refusal(Exception):
    """Something asked for that is not done; nothing has changed."""

    status = 400
    title = "That can't be done"

    def __init__(self, sentence: str, **facts: Any) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.facts: dict[str, Any] = facts


class SignedOut(Refusal):
    status = 401
    title = "Please sign in"


class NotAllowed(Refusal):
    status = 403
    title = "Your role does not include this"


class NotFound(Refusal):
    """Also the answer for another clinic's things: that they exist is not told."""

    status = 404
    title = "Not found"


class MovedOn(Refusal):
    """The thing is no longer as the request expects; `facts` say how it stands now."""

    status = 409
    title = "It has moved on"


class Unready(Refusal):
    """The act exists and is allowed, but not as the pair stands now."""

    status = 409
    title = "Not yet, or no longer"


class BadInput(Refusal):
    """`fields` maps a form field to the sentence that stands beside it."""

    status = 422
    title = "Something in the form needs another look"

    def __init__(self, sentence: str, fields: Mapping[str, str] | None = None, **facts: Any) -> None:
        super().__init__(sentence, **facts)
        self.fields = dict(fields or {})
        if self.fields:
            self.facts["fields"] = self.fields


class KeyUsedForAnother(Refusal):
    """The idempotency key was already used by this person with a different body."""

    status = 422
    title = "This key belongs to another request"


class TooManyTries(Refusal):
    status = 429
    title = "Please wait a moment"


class TooLarge(Refusal):
    status = 413
    title = "That is too large"
