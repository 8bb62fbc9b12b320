"""Settings of the service and the command line: read from the environment, one table."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

import msgspec
from msgspec import Struct

from advisor.errors import QuestionError, did_you_mean

__all__ = ["PREFIX", "Settings", "read_settings"]

PREFIX = "ADVISOR_"


class Settings(Struct, kw_only=True, frozen=True):
    """What can be set; every field is read from ``ADVISOR_<NAME>``.

    ``packs`` and ``rules`` are lists of folders, separated as the system separates paths.
    ``workers`` is the number of processes that weigh questions; 0 weighs them in the server's own.
    ``max_body`` is the largest question in bytes.
    """

    host: str = "127.0.0.1"
    port: int = 8345
    packs: tuple[Path, ...] = ()
    rules: tuple[Path, ...] = ()
    default_pack: str | None = None
    engine: Literal["auto", "durable", "plain"] = "auto"
    workers: int = 2
    max_body: int = 65_536


def read_settings(environ: Mapping[str, str] | None = None) -> Settings:
    """Settings from the environment; what is not set has its default.

    Errors: ``QuestionError`` naming the variable, what it holds and what would be right.
    """
    source = os.environ if environ is None else environ
    fields = {f.name: f for f in msgspec.structs.fields(Settings)}
    given: dict[str, object] = {}
    for key, text in source.items():
        if not key.startswith(PREFIX):
            continue
        name = key.removeprefix(PREFIX).lower()
        if name not in fields:
            names = [PREFIX + f.upper() for f in fields]
            raise QuestionError(
                "value-invalid", f"no setting is called `{key}`",
                help=did_you_mean(key, names) or f"settings: {', '.join(names)}",
            )
        if name in ("packs", "rules"):
            given[name] = tuple(Path(p) for p in text.split(os.pathsep) if p)
        elif fields[name].type is int:
            given[name] = _whole(key, text)
        else:
            given[name] = text
    engine = given.get("engine", "auto")
    if engine not in ("auto", "durable", "plain"):
        raise QuestionError(
            "value-invalid", f"`{PREFIX}ENGINE` is `{engine}`", help="one of auto, durable, plain"
        )
    return Settings(**given)  # type: ignore[arg-type]


def _whole(key: str, text: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise QuestionError(
            "value-invalid", f"`{key}` is `{text}`", help="a whole number, 0 or more"
        )
    return int(text)
