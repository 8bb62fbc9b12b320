"""The log: a line for each event on standard error, for people or as JSON, times in UTC.

A line that belongs to a request names it (`id`, `trace`). Keys of callers and query strings are never written.
"""

from __future__ import annotations

import json
import logging
import re
import sys
import traceback
from collections.abc import Callable, MutableMapping
from datetime import UTC, datetime
from typing import Any

import msgspec
import structlog

from advisor.service.seen.about import ABOUT
from advisor.service.settings import Settings

__all__ = ["json_line", "make_logger", "text_line", "write_logs"]

Line = MutableMapping[str, Any]
LEVELS = {"debug": logging.DEBUG, "info": logging.INFO, "warning": logging.WARNING, "error": logging.ERROR}
SILENT = logging.CRITICAL + 10
NOISY = ("uvicorn.access", "httpx", "httpcore", "asyncio", "websockets")
"""Loggers of libraries that tell less than we do about the same thing; their warnings are kept."""
_PLAIN = re.compile(r'[!#-<>-\[\]-~]+\Z')
_ENCODE = msgspec.json.Encoder(enc_hook=str).encode


def _with_time(_: Any, level: str, line: Line) -> Line:
    """Time and level in front, the request behind."""
    about = ABOUT.get()
    now = datetime.now(UTC).isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"
    out: Line = {"time": now, "level": level, "event": line.get("event", ""), **line}
    if about is not None:
        out.setdefault("id", about.id)
        if about.trace is not None:
            out["trace"], out["span"] = about.trace.id, about.trace.span
            if about.trace.parent:
                out["parent"] = about.trace.parent
    return out


def json_line(_: Any, __: str, line: Line) -> bytes:
    """The event as one JSON object."""
    return _ENCODE(line)


def text_line(_: Any, __: str, line: Line) -> bytes:
    """The event for people: time, level, what happened, and `name=value`; a traceback follows on lines of its own."""
    time, level, event = line.pop("time"), line.pop("level"), line.pop("event", "")
    fault = line.pop("exception", None)
    shown = " ".join(f"{name}={_shown(value)}" for name, value in line.items())
    said = str(event).translate(_CONTROL) if event else ""
    return (f"{time} {level:7} {said}{' ' if shown else ''}{shown}" + (f"\n{fault}" if fault else "")).encode(
        "utf-8", "backslashreplace"
    )


_CONTROL = {i: f"\\x{i:02x}" for i in (*range(9), *range(11, 32), *range(127, 160))}
"""What a terminal might obey; messages of ours have lines, so those stay."""


def _shown(value: Any) -> str:
    text = value if isinstance(value, str) else f"{value}"
    return text if _PLAIN.match(text) else json.dumps(text)


def make_logger(settings: Settings) -> Any:
    """The logger of requests; None when nothing is to be logged, or this process keeps no log (``write_logs``)."""
    if settings.log == "off" or _write is None:
        return None
    return structlog.wrap_logger(
        _Writer(_write),
        processors=[_with_time, json_line if settings.log == "json" else text_line],
        wrapper_class=structlog.make_filtering_bound_logger(LEVELS[settings.log_level]),
        context_class=dict,
        cache_logger_on_first_use=True,
    ).bind()


_write: Callable[[bytes], None] | None = None
"""Where this process writes its log; None: it keeps none, as an application within other programs."""


class _Writer:
    """What the logger calls with a line, whatever its level."""

    def __init__(self, write: Callable[[bytes], None]) -> None:
        self.debug = self.info = self.warning = self.error = write


def _to_stderr(line: bytes) -> None:
    try:
        stream = sys.stderr.buffer
        stream.write(line + b"\n")
        stream.flush()
    except (OSError, ValueError):
        # Nobody reads any more: that is no reason to answer less.
        return


class _Handler(logging.Handler):
    """Lines of the standard loggers, ours and those of libraries, in the form of the others."""

    def __init__(self, form: Callable[[Any, str, Line], bytes], write: Callable[[bytes], None]) -> None:
        super().__init__()
        self._form, self._write = form, write

    def emit(self, record: logging.LogRecord) -> None:
        try:
            line: Line = {"event": record.getMessage(), "logger": record.name}
            if record.exc_info and record.exc_info[0] is not None:
                line["exception"] = "".join(traceback.format_exception(*record.exc_info)).rstrip()
            level = record.levelname.lower()
            self._write(self._form(None, level, _with_time(None, level, line)))
        except Exception:
            self.handleError(record)


def write_logs(settings: Settings, write: Callable[[bytes], None] | None = None) -> None:
    """Let every logger of this process write as the settings say; ``write`` takes a line without its end."""
    global _write
    root = logging.getLogger()
    for handler in [one for one in root.handlers if isinstance(one, _Handler)]:
        root.removeHandler(handler)
    if settings.log == "off":
        _write = None
        root.setLevel(SILENT)
        root.addHandler(logging.NullHandler())
        return
    _write = write or _to_stderr
    root.addHandler(_Handler(json_line if settings.log == "json" else text_line, _write))
    root.setLevel(LEVELS[settings.log_level])
    for name in NOISY:
        logging.getLogger(name).setLevel(max(logging.WARNING, LEVELS[settings.log_level]))
