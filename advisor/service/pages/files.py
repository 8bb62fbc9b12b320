"""The files of the pages: read once, each with its type, its tag and what it may load."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

from msgspec import Struct

__all__ = ["FRAMED", "POLICY", "STATIC", "PageFile", "page_files", "policy_of", "tagged"]

STATIC = Path(__file__).resolve().parent / "static"
TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".json": "application/json",
}
"""Media types; the framework says that text is in UTF-8."""
FRAMED = ("overlay.html",)
"""Pages that other pages may show in a frame, as software for streams does."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors {ancestors}"
)
"""What a page may load and who may frame it (Content Security Policy Level 3): nothing inline, nothing from afar."""


class PageFile(Struct, frozen=True, kw_only=True):
    """One file: its content as sent, its media type, and a strong entity tag (RFC 9110, 8.8.3), quotes included."""

    name: str
    media_type: str
    body: bytes
    etag: str
    policy: str


@cache
def page_files(folder: Path = STATIC) -> Mapping[str, PageFile]:
    """Every file of the folder by its name; files of another kind than pages need are not among them."""
    return MappingProxyType({path.name: _read(path) for path in sorted(folder.iterdir()) if path.suffix in TYPES})


def policy_of(name: str) -> str:
    """The content security policy of a file; any file can be opened as a page."""
    return POLICY.format(ancestors="*" if name in FRAMED else "'none'")


def _read(path: Path) -> PageFile:
    return tagged(path.name, path.read_bytes())


def tagged(name: str, body: bytes) -> PageFile:
    """A file of the pages with that content."""
    tag = hashlib.sha256(body).hexdigest()[:32]
    media_type = TYPES[Path(name).suffix]
    return PageFile(name=name, media_type=media_type, body=body, etag=f'"{tag}"', policy=policy_of(name))
