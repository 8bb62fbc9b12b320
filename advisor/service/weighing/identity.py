"""What an answer hangs on: the question in one spelling, the data, the program. Equal parts give equal answers."""

from __future__ import annotations

import hashlib
from importlib.metadata import PackageNotFoundError, version

import msgspec

from advisor.library import Library
from advisor.service.weighing.tasks import TASKS

__all__ = ["etag_of", "hash_of", "normal", "package_version"]

_DECODERS = {name: msgspec.json.Decoder(task.request) for name, task in TASKS.items()}
_ENCODER = msgspec.json.Encoder(order="deterministic")


def package_version() -> str:
    """The version of the installed package."""
    try:
        return version("situation-advisor")
    except PackageNotFoundError:
        return "0+checkout"


def hash_of(library: Library, *more: str) -> str:
    """SHA-256 of all packs with their rules, of what runs them, of the package, and of ``more``; hexadecimal."""
    parts = [package_version(), library.default, *more]
    for key, shelf in sorted(library.shelves.items()):
        parts += [key, shelf.pack.version, shelf.pack.hash, shelf.rules.hash, shelf.evaluator.name]
    return hashlib.sha256(msgspec.json.encode(parts)).hexdigest()


def normal(task: str, body: bytes) -> bytes | None:
    """SHA-256 of the request: the same however it is spelt, with defaults written out or not; None for what is none."""
    try:
        request = _DECODERS[task].decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    # Encoded again, every field stands at its place, and the default where nothing was said.
    return hashlib.sha256(task.encode() + b" " + _ENCODER.encode(request)).digest()


def etag_of(*parts: str) -> str:
    """A strong entity tag (RFC 9110, 8.8.3), in its quotes."""
    return f'"{hashlib.sha256(msgspec.json.encode(parts)).hexdigest()[:32]}"'
