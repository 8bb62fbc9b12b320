"""The form of a key: `sak_<id>_<secret>`. The id is public, the secret is 32 random bytes.

Only a SHA-256 of the whole is stored. A slow hash is for what people think up: nobody can try 2^256 secrets however
fast the hash is, and a slow one would cost every request milliseconds.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from typing import NamedTuple

from advisor.errors import QuestionError, did_you_mean
from advisor.service.access.caller import SCOPES

__all__ = ["Key", "Record", "checked_scopes", "hash_of", "make_key", "read_id", "same"]

SECRET = 32
"""Bytes of a secret."""
LONGEST = 200
_FORM = re.compile(r"sak_([a-z2-7]{10})_[A-Za-z0-9_-]{43}\Z")
_LETTERS = "abcdefghijklmnopqrstuvwxyz234567"


class Record(NamedTuple):
    """What is kept of a key; times are UTC, ISO 8601. ``used`` is to the hour."""

    id: str
    name: str
    scopes: str
    hash: str
    created: str
    expires: str | None
    revoked: str | None
    used: str | None


class Key(NamedTuple):
    """A key that was made just now: its text is shown once, and kept nowhere."""

    text: str
    record: Record


def make_key() -> tuple[str, str]:
    """A fresh id and the whole key."""
    id = "".join(secrets.choice(_LETTERS) for _ in range(10))
    return id, f"sak_{id}_{secrets.token_urlsafe(SECRET)}"


def read_id(text: str) -> str | None:
    """The id in a key; None for what is no key."""
    found = _FORM.match(text) if len(text) <= LONGEST else None
    return found[1] if found else None


def hash_of(text: str) -> str:
    """The hash that is kept, hexadecimal."""
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def same(one: str, other: str) -> bool:
    """Whether two hashes are the same, in a time that tells nothing."""
    return hmac.compare_digest(one, other)


def checked_scopes(given: tuple[str, ...]) -> str:
    """The scopes in our order, with spaces. Errors: ``QuestionError`` for none and for one that there is not."""
    right = f"scopes: {', '.join(SCOPES)}"
    if not given:
        raise QuestionError("value-invalid", "a key needs a scope", help=right)
    for scope in given:
        if scope not in SCOPES:
            raise QuestionError("value-invalid", f"no scope is called `{scope}`",
                                help=did_you_mean(scope, SCOPES) or right)  # fmt: skip
    return " ".join(scope for scope in SCOPES if scope in given)
