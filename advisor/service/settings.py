"""Settings of the service and the command line: one table, read from a file and from the environment."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

import msgspec
from msgspec import Meta, Struct

from advisor.errors import QuestionError, did_you_mean

__all__ = ["FILE", "PREFIX", "Settings", "read_settings", "shown_settings"]

PREFIX = "ADVISOR_"
FILE = PREFIX + "SETTINGS"
"""The variable that names the file."""
LISTS = ("packs", "rules", "cors", "proxies")
PATHS = ("packs", "rules")
SECRETS = ("discord_token", "webhook_secret")
ADDRESSES = ("redis", "notebook")
"""Settings that may hold a password within an address."""


Bool = Literal["yes", "no"]


class Settings(Struct, kw_only=True, frozen=True):
    """What can be set; every field is read from ``ADVISOR_<NAME>``, and from the file that ``ADVISOR_SETTINGS`` names.

    The environment goes before the file. An empty variable counts as not set.
    """

    # Where it listens, and with how many processes.
    host: Annotated[str, Meta(description="Address to listen on.")] = "127.0.0.1"
    port: Annotated[int, Meta(ge=0, le=65_535, description="Port; 0 takes a free one.")] = 8345
    servers: Annotated[int, Meta(ge=1, le=64, description="Processes that speak HTTP.")] = 1
    workers: Annotated[
        int, Meta(ge=0, le=64, description="Processes that weigh questions, for each server; 0: the server's own.")
    ] = 2
    grace: Annotated[
        int, Meta(ge=0, le=600, description="Seconds that requests under way have when the service stops.")
    ] = 5
    # What it knows.
    packs: Annotated[tuple[Path, ...], Meta(description="Folders of packs of your own.")] = ()
    rules: Annotated[tuple[Path, ...], Meta(description="Folders of rules of your own.")] = ()
    default_pack: Annotated[
        str | None, Meta(description="The pack meant when a question names none; `cold_frame` when not set.")
    ] = None
    engine: Annotated[Literal["auto", "durable", "plain"], Meta(description="What runs the rules.")] = "auto"
    notebook: Annotated[
        str | None,
        Meta(description="Address of the store (lab notebook, keys); a file of the data folder when not set."),
    ] = None
    trials: Annotated[
        Literal["follow", "show", "ignore"],
        Meta(
            description="What trials of the notebook do to advice: it follows those that decide, shows them only, or "
            "does not look at them."
        ),
    ] = "follow"
    trials_least: Annotated[int, Meta(ge=1, le=1_000_000, description="Fewest tries that may decide.")] = 8
    trials_confidence: Annotated[
        int, Meta(ge=50, le=99, description="Confidence of the interval that decides, percent.")
    ] = 95
    language: Annotated[str, Meta(description="Language of sentences when a caller asks for none.")] = "en"
    # Bounds.
    max_body: Annotated[int, Meta(ge=1_024, le=16_777_216, description="Largest question, bytes.")] = 65_536
    max_import: Annotated[
        int, Meta(ge=65_536, le=268_435_456, description="Largest body with a pack in it, bytes.")
    ] = 8_388_608
    body_seconds: Annotated[int, Meta(ge=1, le=3_600, description="Longest a body may take to arrive, seconds.")] = 10
    max_depth: Annotated[int, Meta(ge=4, le=1_000, description="Deepest nesting of a body.")] = 32
    max_items: Annotated[
        int, Meta(ge=16, le=10_000_000, description="Most values in the body of a question, keys and list members.")
    ] = 20_000
    seconds: Annotated[
        int, Meta(ge=1, le=3_600, description="Longest a question may be weighed, seconds; longer ones are for jobs.")
    ] = 10
    waiting: Annotated[int, Meta(ge=1, le=100_000, description="Most questions that wait for a worker.")] = 200
    job_workers: Annotated[int, Meta(ge=1, le=64, description="Processes that work on long studies.")] = 1
    jobs: Annotated[
        int, Meta(ge=1, le=10_000, description="Jobs kept, unfinished and finished; finished ones go first.")
    ] = 100
    job_seconds: Annotated[int, Meta(ge=1, le=86_400, description="Longest a job may run, seconds.")] = 900
    # Answers kept.
    cache: Annotated[
        int, Meta(ge=0, le=65_536, description="Answers kept in memory by each server, MiB; 0: none.")
    ] = 64
    cache_seconds: Annotated[
        int, Meta(ge=0, le=31_536_000, description="How long others may keep the answer of a GET (`max-age`).")
    ] = 60
    # Live channels.
    redis: Annotated[
        str | None,
        Meta(description="Address of a Redis server, for live channels, jobs and rates over several servers or hosts."),
    ] = None
    channels: Annotated[int, Meta(ge=1, le=1_000_000, description="Most live channels.")] = 1_000
    subscribers: Annotated[int, Meta(ge=1, le=1_000_000, description="Most subscribers of each server.")] = 5_000
    channel_queue: Annotated[
        int,
        Meta(ge=1, le=10_000, description="Events that may wait for a subscriber; who falls behind more is dropped."),
    ] = 16
    channel_history: Annotated[
        int, Meta(ge=0, le=10_000, description="Past events of a channel, for those who come back.")
    ] = 50
    channel_seconds: Annotated[
        int, Meta(ge=1, le=31_536_000, description="How long a state counts as current when nothing follows, seconds.")
    ] = 3_600
    heartbeat: Annotated[int, Meta(ge=1, le=600, description="Seconds between signs of life to a subscriber.")] = 15
    # Who may do what.
    access: Annotated[
        Literal["auto", "keys", "open"],
        Meta(description="Whether keys are needed: always, never, or unless it listens on loopback only."),
    ] = "auto"
    public_read: Annotated[Bool, Meta(description="Whether reading needs no key even where keys are needed.")] = "no"
    rate: Annotated[
        int, Meta(ge=0, le=10_000_000, description="Requests that a key may make in a minute; 0: any number.")
    ] = 600
    rate_address: Annotated[
        int,
        Meta(ge=0, le=10**7, description="Requests without a key from an address in a minute, off loopback; 0: any."),
    ] = 120
    proxies: Annotated[
        tuple[str, ...], Meta(description="Addresses or networks of proxies whose `X-Forwarded-For` is believed.")
    ] = ()
    cors: Annotated[tuple[str, ...], Meta(description="Origins of pages that may call the service; `*`: all.")] = ()
    webhook_secret: Annotated[
        str | None,
        Meta(description="Secret of webhooks that submit states; signed bodies are taken only when it is set."),
    ] = None
    # What it tells.
    log: Annotated[Literal["text", "json", "off"], Meta(description="Form of the log.")] = "text"
    log_level: Annotated[
        Literal["debug", "info", "warning", "error"], Meta(description="Least level that is logged.")
    ] = "info"
    metrics: Annotated[Bool, Meta(description="Whether `/metrics` is there.")] = "yes"
    # The study bot.
    discord_public_key: Annotated[
        str | None, Meta(description="Public key of the bot's application, hexadecimal; the bot is off when not set.")
    ] = None
    discord_application: Annotated[str | None, Meta(description="Id of the bot's application.")] = None
    discord_token: Annotated[
        str | None, Meta(description="Token of the bot, to register its commands and for the gateway client.")
    ] = None
    discord_packs: Annotated[str | None, Meta(description="Packs by server, `server=pack` separated by commas.")] = None
    discord_api: Annotated[
        str, Meta(description="Address of the platform's interface, with its version.")
    ] = "https://discord.com/api/v10"


def read_settings(environ: Mapping[str, str] | None = None) -> Settings:
    """Settings from the file that is named and from the environment; what is not set has its default.

    Errors: ``QuestionError`` naming the variable, or the file and line, what it holds and what would be right.
    """
    source = os.environ if environ is None else environ
    given: dict[str, Any] = {}
    if named := source.get(FILE):
        given |= _from_file(Path(named))
    for key, text in source.items():
        if key.startswith(PREFIX) and text and key != FILE:
            name = key.removeprefix(PREFIX).lower()
            name = _known(name, key, _variable)
            given[name] = _value(name, text, f"`{key}` is `{text}`")
    return Settings(**given)


def _variable(name: str) -> str:
    return PREFIX + name.upper()


def _known(name: str, shown: str, spell: Any) -> str:
    fields = Settings.__struct_fields__
    if name not in fields or name != name.lower():
        names = [spell(f) for f in fields]
        raise QuestionError(
            "value-invalid", f"no setting is called `{shown}`",
            help=did_you_mean(shown, names) or f"settings: {', '.join(names)}",
        )  # fmt: skip
    return name


def _from_file(path: Path) -> dict[str, Any]:
    """The settings of a TOML file: names in small letters, lists as lists."""
    try:
        text = path.read_text("utf-8")
        found = tomllib.loads(text)
    except OSError as error:
        said = f"`{FILE}` names `{path}`, which cannot be read: {(error.strerror or str(error)).lower()}"
        raise QuestionError("value-invalid", said, help="name a TOML file") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise QuestionError("value-invalid", f"{path}: not TOML: {error}", help='lines `name = "value"`') from None
    out: dict[str, Any] = {}
    for key, value in found.items():
        begins = re.compile(rf'\s*\[?"?{re.escape(key)}"?\s*[=.\]]')
        line = next((i for i, row in enumerate(text.splitlines(), 1) if begins.match(row)), 1)
        try:
            name = _known(key, key, str)
            out[name] = _value(name, value, f"`{key}` is `{value}`")
        except QuestionError as error:
            error.args = (f"{path}:{line}: {error.message}",)
            error.message = error.args[0]
            raise
    return out


def _value(name: str, given: Any, said: str) -> Any:
    """The value of a setting from text, or from what TOML has. Errors: ``QuestionError``."""
    field = next(f for f in msgspec.structs.fields(Settings) if f.name == name)
    if name in LISTS and isinstance(given, str):
        given = [part.strip() for part in given.split(os.pathsep if name in PATHS else ",") if part.strip()]
    elif isinstance(given, bool):
        given = "yes" if given else "no"
    elif isinstance(given, str) and given.strip() != given:
        given = given.strip()
    try:
        # The decoder takes text such as "1e3" for a number; a setting is written plainly.
        if _bounds(field.type) and isinstance(given, str) and not re.fullmatch(r"[0-9]{1,12}", given):
            raise msgspec.ValidationError
        return msgspec.convert(given, field.type, strict=False, dec_hook=_path)
    except msgspec.ValidationError:
        raise QuestionError("value-invalid", said, help=_right(name, field.type)) from None


def _path(_: type, given: Any) -> Path:
    if not isinstance(given, str) or not given:
        raise msgspec.ValidationError
    return Path(given)


def _bounds(kind: Any) -> tuple[int, int] | None:
    meta = next((m for m in getattr(kind, "__metadata__", ()) if m.ge is not None), None)
    return (meta.ge, meta.le) if meta else None


def _right(name: str, kind: Any) -> str:
    if found := _bounds(kind):
        return f"a whole number from {found[0]} to {found[1]}"
    words = get_args(get_args(kind)[0])
    if words and all(isinstance(w, str) for w in words):
        return f"one of {', '.join(words)}"
    return "a list of texts" if name in LISTS else "text"


def shown_settings(settings: Settings, environ: Mapping[str, str] | None = None) -> dict[str, tuple[Any, str, str]]:
    """Every setting: its value with secrets hidden, where it comes from, what it means."""
    source = os.environ if environ is None else environ
    path = source.get(FILE)
    filed = _from_file(Path(path)) if path else {}
    out: dict[str, tuple[Any, str, str]] = {}
    for field in msgspec.structs.fields(Settings):
        value = getattr(settings, field.name)
        name = PREFIX + field.name.upper()
        origin = "environment" if source.get(name) else f"{path}" if field.name in filed else "default"
        meta = next(m for m in field.type.__metadata__ if m.description)
        out[name] = (_hidden(field.name, value), origin, meta.description)
    return out


def _hidden(name: str, value: Any) -> Any:
    if value is None:
        return None
    if name in SECRETS:
        return "(hidden)"
    if name in ADDRESSES:
        plain = re.sub(r"(//[^/@:?#]*:).*@", r"\1(hidden)@", str(value))
        return re.sub(r"([?&][a-z_]*pass[a-z_]*=)[^&#]*", r"\1(hidden)", plain, flags=re.IGNORECASE)
    return [str(v) for v in value] if isinstance(value, tuple) else value
