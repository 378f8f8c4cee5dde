"""How costly is it to guess a password? The form in which passwords are stored and compared."""

from functools import cached_property

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error


class Passwords:
    """Argon2id, by default with the second recommended choice of RFC 9106 (section 4): 3 passes over 64 MiB.

    The cost is chosen where the app is built and nowhere else; tests build it with a cheaper one.
    """

    def __init__(self, passes: int = 3, memory_kib: int = 65_536, lanes: int = 4) -> None:
        self._hasher = PasswordHasher(time_cost=passes, memory_cost=memory_kib, parallelism=lanes)

    def stored_form(self, password: str) -> str:
        return self._hasher.hash(password)

    def fits(self, stored: str | None, password: str) -> bool:
        """False for somebody without a password, and no sooner than for a wrong one: the time taken tells nothing."""
        try:
            return self._hasher.verify(stored or self._nobody, password) and stored is not None
        except Argon2Error:
            return False

    def is_weaker(self, stored: str) -> bool:
        """Whether it was stored at another cost than this; it is then stored anew at the next sign-in."""
        return self._hasher.check_needs_rehash(stored)

    @cached_property
    def _nobody(self) -> str:
        return self._hasher.hash("nobody has this password")
