"""Reading what a caller sent: the decoder's refusals in the trade's words, with the exact place.

The decoder says what it found in types of a programming language and drops the place of a missing
or unknown field; both are put right here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import msgspec

from advisor.errors import AdvisorError, did_you_mean
from advisor.service.asking.bounds import BOUNDS, Bounds, check_bounds

__all__ = ["Known", "Words", "decode", "invalid"]


class Words(NamedTuple):
    """The words that are right in one place: the fields of an object, or else the values."""

    words: tuple[str, ...] = ()
    fields: bool = False

    def listed(self) -> str:
        """The words as help, or an empty string."""
        if not self.words:
            return ""
        return f"{'an object with' if self.fields else 'one of'} {', '.join(self.words)}"


Known = Callable[[str, Any], Words]
"""The words that are right at a JSON pointer of what was sent."""

_AT = " - at `$"
_MISSING = re.compile(r"Object missing required field `(?P<name>[^`]*)`\Z")
_UNKNOWN = re.compile(r"Object contains unknown field `(?P<name>.*)`\Z", re.DOTALL)
_WORD = re.compile(r"Invalid (?:enum )?value '?(?P<word>.*?)'?\Z", re.DOTALL)
_FORM = re.compile(r" matching regex .*\Z", re.DOTALL)
_PARTS = re.compile(r"\.([^.\[\]`]+)|\[(\d+|\.\.\.)\]")
_TYPES = {
    "str": "text", "int": "a whole number", "float": "a number", "bool": "true or false", "object": "an object",
    "array": "a list", "null": "null",
}


def decode(body: bytes, decoder: msgspec.json.Decoder[Any], known: Known, bounds: Bounds = BOUNDS) -> Any:
    """The value in ``body``; a number such as 10.0 counts as whole, as it does in JSON Schema.

    Errors: ``AdvisorError`` ``body-malformed``, ``body-too-large``, or ``value-invalid`` with a JSON pointer.
    """
    check_bounds(body, bounds)
    remedy = "send one JSON object in UTF-8"
    try:
        return decoder.decode(body)
    except msgspec.ValidationError as error:
        said, sent = str(error), _sent(body)
    except UnicodeDecodeError:
        raise AdvisorError("body-malformed", "the body is not valid UTF-8", help=remedy) from None
    except RecursionError:
        raise AdvisorError("body-malformed", "the body is nested too deeply", help=remedy) from None
    except msgspec.DecodeError as error:
        said = str(error).removeprefix("JSON is malformed: ")
        said = f"the body is not JSON: {said[:1].lower()}{said[1:]}" if body.strip() else "the body is empty"
        raise AdvisorError("body-malformed", said, help=remedy) from None
    if "got `float`" in said:
        try:
            return msgspec.convert(_whole(sent), decoder.type)
        except msgspec.ValidationError as error:
            said = str(error)
    raise invalid(said, sent, known)


def _whole(value: Any) -> Any:
    """The value with whole numbers as such, however they were written."""
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, dict):
        return {k: _whole(v) for k, v in value.items()}
    return [_whole(v) for v in value] if isinstance(value, list) else value


def _sent(body: bytes) -> Any:
    """The body as plain values; None when the rest of it is not even JSON."""
    try:
        return msgspec.json.decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None


def invalid(text: str, sent: Any, known: Known) -> AdvisorError:
    """The decoder's refusal ``text`` of ``sent`` as an error with pointer and help."""
    message, pointer = next(_readings(text, sent))
    right = known(pointer, sent)
    if missing := _MISSING.match(message):
        name = missing["name"]
        choices = known(f"{pointer}/{name}", sent).listed()
        help = f"add `{name}`: {choices}" if choices else f"add `{name}`"
        return AdvisorError("value-invalid", f"`{name}` is missing", help=help, pointer=f"{pointer}/{name}")
    if unknown := _UNKNOWN.match(message):
        name = unknown["name"]
        help = did_you_mean(name, right.words) or f"known here: {', '.join(right.words)}"
        at = f"{pointer}/{name.replace('~', '~0').replace('/', '~1')}"
        return AdvisorError("value-invalid", f"`{name}` is not known here", help=help, pointer=at)
    if word := _WORD.match(message):
        near = did_you_mean(word["word"], right.words)
        help = " ".join(part for part in (near, right.listed()) if part)
        return AdvisorError("value-invalid", f"`{word['word']}` is not known here", help=help, pointer=pointer)
    return AdvisorError("value-invalid", _plain(message), help=right.listed(), pointer=pointer)


def _readings(text: str, sent: Any) -> Iterator[tuple[str, str]]:
    """Message and pointer of ``text``.

    The decoder quotes names of fields as they were sent, so a name may look like the place at the
    end. What was sent decides which of the readings holds.
    """
    cuts = [i for i in range(len(text)) if text.startswith(_AT, i)]
    readings = [(text[:i], _pointer(text[i + len(_AT) : -1])) for i in reversed(cuts)] + [(text, "")]
    for message, pointer in readings:
        unknown = _UNKNOWN.match(message)
        if unknown is None:
            if not message.startswith("Object contains unknown field"):
                yield message, pointer
        elif _holds(sent, pointer, unknown["name"]):
            yield message, pointer
    yield readings[0]


def _holds(sent: Any, pointer: str, name: str) -> bool:
    for part in pointer.split("/")[1:]:
        if isinstance(sent, dict):
            sent = sent.get(part)
        elif isinstance(sent, list) and part.isdigit() and int(part) < len(sent):
            sent = sent[int(part)]
    return isinstance(sent, dict) and name in sent


def _pointer(path: str) -> str:
    return "".join(f"/{a or b}" for a, b in _PARTS.findall(path))


def _plain(message: str) -> str:
    """The decoder's message with no type names or patterns of a programming language."""
    message = _FORM.sub(" in another form", message)
    message = re.sub(r"`([a-z| ]+)`", lambda m: _types(m[1]), message)
    message = re.sub(r"(=|<|>) (-?\d+)\.0\b", r"\1 \2", message)
    return message[:1].lower() + message[1:]


def _types(text: str) -> str:
    names = [_TYPES.get(part.strip(), part.strip()) for part in text.split("|")]
    return ", ".join(names[:-1]) + " or " + names[-1] if len(names) > 1 else names[0]
