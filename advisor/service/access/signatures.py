"""Signed webhooks: a sender who has the secret proves it with every body, and sends it nowhere.

`X-Advisor-Timestamp` is the time in seconds since 1970, `X-Advisor-Signature` is `v1=` and the HMAC-SHA256 (RFC 2104)
of `<timestamp>.<body>` in hexadecimal. While a secret is changed, a sender may sign with both: `v1=..., v1=...`.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Iterable

from advisor.service.access.caller import AccessError, challenge

__all__ = ["SIGNATURE", "TIMESTAMP", "TOLERANCE", "check_signature", "sign"]

TIMESTAMP = b"x-advisor-timestamp"
SIGNATURE = b"x-advisor-signature"
TOLERANCE = 300
"""Seconds by which the time may differ from ours, either way."""
MOST = 8
"""Signatures that are looked at."""
_ONE = re.compile(rb"v1=([0-9a-fA-F]{64})\Z")
_TIME = re.compile(rb"[0-9]{1,12}\Z")


def sign(secret: str, stamp: int | str, body: bytes) -> str:
    """The signature of a body, hexadecimal."""
    return hmac.new(secret.encode("utf-8"), f"{stamp}.".encode("ascii") + body, hashlib.sha256).hexdigest()


def check_signature(secret: str, headers: Iterable[tuple[bytes, bytes]], body: bytes, now: float) -> bytes:
    """Check a body before it is parsed; ``headers`` as ASGI has them, ``now`` in seconds since 1970.

    Gives what is signed, by which a second sending can be told. Errors: ``AccessError`` ``signature-invalid`` for a
    signature or time that is missing, given twice, misshapen, forged or too old.
    """
    stamps, given = [], []
    for name, value in headers:
        if name == TIMESTAMP:
            stamps.append(value.strip())
        elif name == SIGNATURE:
            given += value.split(b",")
    if len(stamps) != 1 or not _TIME.match(stamps[0]):
        raise refused("`X-Advisor-Timestamp` has to be there once, with seconds since 1970")
    found = [one[1].lower() for part in given[:MOST] if (one := _ONE.match(part.strip()))]
    if not found:
        raise refused("`X-Advisor-Signature` has to be `v1=` and 64 hexadecimal digits")
    right = sign(secret, stamps[0].decode("ascii"), body).encode("ascii")
    # All are compared, so that the time does not tell which one holds.
    if not sum(hmac.compare_digest(right, one) for one in found):
        raise refused("the signature is not made with the secret of this service, or not of this body")
    if abs(now - int(stamps[0])) > TOLERANCE:
        raise refused(f"the body was signed more than {TOLERANCE} seconds ago, or the clocks differ")
    return stamps[0] + b"." + right


def refused(said: str) -> AccessError:
    """The error for a signature that does not hold."""
    help = "sign `<timestamp>.<body>` with HMAC-SHA256, and send `X-Advisor-Timestamp` and `X-Advisor-Signature`"
    return AccessError("signature-invalid", said, help=help, headers=challenge())
