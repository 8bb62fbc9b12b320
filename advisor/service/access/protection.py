"""Headers that tell a browser what not to do with an answer."""

from __future__ import annotations

__all__ = ["PICTURE_POLICY", "POLICY", "Protection"]

POLICY = b"default-src 'none'; frame-ancestors 'none'"
"""Nothing is loaded by an answer, and no page shows it in a frame (Content Security Policy Level 3)."""
PICTURE_POLICY = b"default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; frame-ancestors 'none'"
"""A picture that is opened by itself keeps the looks that stand in it; scripts do not run."""
YEAR = b"max-age=31536000"


class Protection:
    """The headers of every answer; ``shared``: pages of other origins may show pictures of the service."""

    def __init__(self, *, shared: bool) -> None:
        self._plain = (
            (b"x-content-type-options", b"nosniff"), (b"referrer-policy", b"no-referrer"),
            (b"cross-origin-resource-policy", b"cross-origin" if shared else b"same-origin"),
        )  # fmt: skip

    def headers(self, there: list[tuple[bytes, bytes]], *, secure: bool) -> list[tuple[bytes, bytes]]:
        """What is missing among the headers that are there; ``secure``: the request came by HTTPS."""
        names, policy = set(), POLICY
        for name, value in there:
            names.add(name)
            if name == b"content-type" and value.startswith(b"image/svg"):
                policy = PICTURE_POLICY
        out = [pair for pair in self._plain if pair[0] not in names]
        if b"content-security-policy" not in names:
            out.append((b"content-security-policy", policy))
        if secure:
            out.append((b"strict-transport-security", YEAR))
        return out
