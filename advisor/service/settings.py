"""Settings of the service and the command line: read from the environment, one table."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

from msgspec import Struct

from advisor.errors import QuestionError, did_you_mean

__all__ = ["PREFIX", "Settings", "read_settings"]

PREFIX = "ADVISOR_"
ENGINES = ("auto", "durable", "plain")
BOUNDS = {
    "port": (0, 65_535), "workers": (0, 64), "max_body": (1_024, 16_777_216),
    "job_workers": (1, 64), "jobs": (1, 10_000), "job_seconds": (1, 86_400),
}  # fmt: skip
"""Least and most of each whole number."""


class Settings(Struct, kw_only=True, frozen=True):
    """What can be set; every field is read from ``ADVISOR_<NAME>``.

    ``packs`` and ``rules`` are lists of folders, separated as the system separates paths.
    ``workers`` is the number of processes that weigh questions; 0 weighs them in the server's own.
    ``max_body`` is the largest question in bytes. ``job_workers`` is the number of processes that run jobs,
    ``jobs`` the most jobs that are remembered (the oldest finished one is dropped first), ``job_seconds`` the most
    seconds that a job may run. ``notebook`` is the address of the lab notebook, a file of the data folder when not
    set. An empty variable counts as not set.
    """

    host: str = "127.0.0.1"
    port: int = 8345
    packs: tuple[Path, ...] = ()
    rules: tuple[Path, ...] = ()
    default_pack: str | None = None
    engine: Literal["auto", "durable", "plain"] = "auto"
    workers: int = 2
    max_body: int = 65_536
    job_workers: int = 1
    jobs: int = 100
    job_seconds: int = 900
    notebook: str | None = None


def read_settings(environ: Mapping[str, str] | None = None) -> Settings:
    """Settings from the environment; what is not set has its default.

    Errors: ``QuestionError`` naming the variable, what it holds and what would be right.
    """
    source = os.environ if environ is None else environ
    fields = Settings.__struct_fields__
    given: dict[str, object] = {}
    for key, text in source.items():
        if not key.startswith(PREFIX) or not text:
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
        elif name in BOUNDS:
            given[name] = _whole(key, text, *BOUNDS[name])
        else:
            given[name] = text
    engine = given.get("engine", "auto")
    if engine not in ENGINES:
        raise QuestionError(
            "value-invalid", f"`{PREFIX}ENGINE` is `{engine}`", help=f"one of {', '.join(ENGINES)}"
        )
    return Settings(**given)  # type: ignore[arg-type]


def _whole(key: str, text: str, least: int, most: int) -> int:
    if not text.isascii() or not text.isdigit() or not least <= int(text[:12]) <= most:
        raise QuestionError(
            "value-invalid", f"`{key}` is `{text}`", help=f"a whole number from {least} to {most}"
        )
    return int(text)
