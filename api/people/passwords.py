"""Passwords: kept as Argon2id hashes with the library's own parameters, looked at one at a time."""

import secrets
import threading

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from classifier.errors import InputError
from classifier.messages import Message

SHORTEST, LONGEST = 15, 200
"""Characters. NIST SP 800-63B-4 asks for 15 of a password that stands alone (from memory)."""

MADE_BYTES = 15
"""Of a password that we make: 20 characters, 120 bits."""


class Passwords:
    """Hashes and checks. Each hash takes 64 MiB (RFC 9106's second choice), so that only one is made at a time."""

    def __init__(self) -> None:
        self._hasher = PasswordHasher()
        self._one_at_a_time = threading.Lock()
        self._nobody_s = ""

    def hashed(self, password: str) -> str:
        """What is kept of a password. Raises `InputError` for one that is too short or too long."""
        if not SHORTEST <= len(password) <= LONGEST:
            raise InputError(
                Message(
                    "The password has {count} characters; {least} to {most} are wanted. Several words do.",
                    count=len(password),
                    least=SHORTEST,
                    most=LONGEST,
                )
            )
        with self._one_at_a_time:
            return self._hasher.hash(password)

    def fits(self, password: str, kept: str | None) -> bool:
        """Whether this is the password. Without one (`kept` is None) it takes as long, so that it is not noticed."""
        with self._one_at_a_time:
            if kept is None:
                self._nobody_s = self._nobody_s or self._hasher.hash(secrets.token_urlsafe(MADE_BYTES))
            try:
                return self._hasher.verify(kept or self._nobody_s, password) and kept is not None
            except (VerificationError, InvalidHashError):
                return False

    def outdated(self, kept: str) -> bool:
        """Whether the library's parameters have grown since, so that the hash is to be made anew."""
        return self._hasher.check_needs_rehash(kept)


def made_password() -> str:
    """A new password to be handed over once."""
    return secrets.token_urlsafe(MADE_BYTES)
