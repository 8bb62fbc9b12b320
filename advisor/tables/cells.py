"""One cell's text into the value of a property, by the forms that its column declares.

A minus sign U+2212 counts as ``-``; an en dash or ``~`` as the mark between the ends of a range.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from msgspec import UNSET, Struct

from advisor.errors import did_you_mean
from advisor.pack.check import quoted
from advisor.pack.words import Words
from advisor.tables.mapping import Column
from advisor.tables.properties import DISTANCES, PROPERTIES

__all__ = ["KEEP", "CellReader", "Refused", "Taken"]

MAX_CACHED = 20_000


class _Keep:
    """Stands for what the character's file has already."""

    def __repr__(self) -> str:
        return "KEEP"


KEEP = _Keep()


class Taken(Struct, frozen=True):
    """What a cell says. ``value`` is plain data, ``UNSET`` (the key is left out) or ``KEEP``."""

    value: Any
    note: str = ""
    tag: str = ""
    dropped: str = ""


class Refused(Struct, frozen=True):
    """Why a cell is not taken, and what would be right."""

    message: str
    help: str = ""


_WHOLE = r"[0-9]{1,9}"
_GAP = r"\s*(?:-|~|\.\.|\bto\b)\s*"
_RANGE = re.compile(rf"({_WHOLE}){_GAP}({_WHOLE})\Z")
_PLUS_RANGE = re.compile(rf"([+-]?{_WHOLE})\s*(?:~|\.\.|/|\bto\b)\s*([+-]?{_WHOLE})\Z")
_SUFFIXED = re.compile(r"(.*?[0-9])(\s*[^\s0-9+\-.,~/].*|\s+\S.*)\Z", re.DOTALL)
_SIGNS = str.maketrans({"\u2212": "-", "\u2013": "~"})
_WORD = re.compile(r"[a-z][a-z0-9_]{0,63}\Z")
_WORD_KINDS = {"level": "levels", "tag": "tags", "break": "breaks", "distance": "distances"}
_EXAMPLES = {
    "number": "12",
    "signed": "+3 or -8",
    "range": "13-14",
    "span": "13-15",
    "prefixed": "a prefix and a number",
    "suffixed": "a number and text behind it",
    "plus_range": "+3~+5",
    "word": "a word",
}


class CellReader:
    """Reads the cells of one column; the same text always gives the same answer."""

    def __init__(self, column: Column, words: Words, *, decimal: str, factor: float) -> None:
        self.column = column
        self.about = PROPERTIES[column.property]
        self.words = words
        self.factor = Decimal(repr(factor)) if column.property in DISTANCES else Decimal(1)
        mark = re.escape("," if decimal == "comma" else ".")
        digits = _WHOLE + (rf"(?:{mark}[0-9]{{1,15}})?" if self.about.sort == "amount" else "")
        self.comma = decimal == "comma"
        self.plain = re.compile(rf"{digits}\Z")
        self.signed = re.compile(rf"(?:[+-]{digits}|0)\Z")
        self.cache: dict[str, Taken | Refused] = {}

    def read(self, text: str) -> Taken | Refused:
        """What the cell with this text says."""
        found = self.cache.get(text)
        if found is None:
            found = self._read(text)
            if len(self.cache) < MAX_CACHED:
                self.cache[text] = found
        return found

    def _read(self, text: str) -> Taken | Refused:
        column = self.column
        if not text:
            if column.blank == "refuse":
                return Refused("the cell is blank", f"fill it in, or declare `blank` for column `{column.column}`")
            return self._missing(column.blank)
        if text in column.not_available and column.not_available_means:
            return self._missing(column.not_available_means)
        match self.about.sort:
            case "text":
                return self._text(text)
            case "word":
                return self._word(text)
            case "list":
                return self._list(text)
            case _:
                return self._number(text)

    def _missing(self, means: str) -> Taken:
        if means == "keep":
            return Taken(KEEP)
        if means == "unknown":
            # Elsewhere a key left out is unknown already; here a pack may take its absence as none.
            return Taken("unknown" if self.about.may_be_none else UNSET)
        return Taken("none" if means == "none" else UNSET)

    def _text(self, text: str) -> Taken | Refused:
        if len(text) > self.about.longest:
            return Refused(f"{len(text)} characters are too many", f"at most {self.about.longest}")
        if self.column.property == "id" and (not _WORD.match(text) or text == "unknown"):
            return Refused(
                f"{quoted(text)} is not an id", "a lower-case letter, then letters, digits or `_`, 64 at most"
            )
        return Taken(text)

    def _word(self, text: str) -> Taken | Refused:
        word = self.column.words.get(text, text)
        known = self._known_words()
        if known is None and _WORD.match(word):
            return Taken(word)
        if known is not None and word in known:
            return Taken(word)
        return self._strange(text, word, known)

    def _known_words(self) -> set[str] | None:
        """The words that the property takes; None when the pack does not say."""
        declared = getattr(self.words, _WORD_KINDS[self.about.declared]) if self.about.declared else frozenset()
        if declared is None:
            return None
        return {*declared, *self.about.words, *(("none",) if self.about.may_be_none else ())}

    def _strange(self, text: str, word: str, known: set[str] | None) -> Refused:
        shown = quoted(text)
        if word != text:
            shown += f", for which `words` has {quoted(word).removeprefix('text ')},"
        if known is None:
            return Refused(f"{shown} is not a word", "a lower-case letter, then letters, digits or `_`")
        near = did_you_mean(word[:80], known)
        help = near or "it can be " + ", ".join(f"`{one}`" for one in sorted(known)[:12])
        return Refused(f"{shown} is no {self.column.property} of the pack", f"{help}; or map it under `words`")

    def _list(self, text: str) -> Taken | Refused:
        if text == "none" or self.column.words.get(text) == "none":
            return Taken("none")
        if self.column.words.get(text) is not None:
            parts = [text]
        else:
            parts = [part.strip() for part in text.split(self.column.separator)]
        out: list[str] = []
        for part in parts:
            if not part and self.column.separator.isspace():
                continue
            one = self._word(part)
            if isinstance(one, Refused):
                return one
            if one.value == "none":
                return Refused("`none` stands among other words", "write it alone")
            if one.value in out:
                return Refused(f"`{one.value}` stands twice", "once is enough")
            out.append(one.value)
        return Taken(out)

    def _number(self, text: str) -> Taken | Refused:
        plain = text.translate(_SIGNS)
        taken = self._core(plain)
        if taken is None and "suffixed" in self.column.forms:
            taken = self._suffixed(plain)
        if taken is None:
            return self._unread(text)
        value = taken.value if isinstance(taken, Taken) else None
        if isinstance(value, int | float) and not self.about.low <= value <= self.about.high:
            return Refused(
                f"{quoted(text)} is out of bounds for `{self.column.property}`",
                f"from {self.about.low:g} to {self.about.high:g}",
            )
        return taken

    def _unread(self, text: str) -> Refused:
        forms = ", ".join(f"`{form}` ({_EXAMPLES[form]})" for form in self.column.forms)
        missing = ""
        if self.plain.match(text) and "number" not in self.column.forms:
            missing = "; `number` would take it"
        elif self.signed.match(text.translate(_SIGNS)) and "signed" not in self.column.forms:
            missing = "; `signed` would take it" if self.about.sort != "count" else ""
        return Refused(
            f"{quoted(text)} has no form of column `{self.column.column}`", f"declared are {forms}{missing}"
        )

    def _core(self, text: str) -> Taken | Refused | None:
        """The value in one of the declared forms but ``suffixed``, or None."""
        for form in self.column.forms:
            taken: Taken | Refused | None = None
            if form == "prefixed":
                front = next((one for one in self.column.prefixes if text.startswith(one)), None)
                if front is not None:
                    rest = text[len(front) :].lstrip()
                    taken = self._simple("number", rest)
                    if taken is None and "range" in self.column.forms:
                        taken = self._simple("range", rest)
            elif form != "suffixed":
                taken = self._simple(form, text)
            if taken is not None:
                return taken
        return None

    def _simple(self, form: str, text: str) -> Taken | Refused | None:
        if form == "number" and self.plain.match(text):
            return Taken(self._value(text))
        if form == "signed" and self.signed.match(text):
            return Taken(self._value(text))
        if form == "word":
            word = self.column.words.get(text, text)
            known = self._known_words()
            return Taken(word) if known and word in known else None
        if form in ("range", "span") and (found := _RANGE.match(text)):
            return self._ends(form, int(found[1]), int(found[2]), text)
        if form == "plus_range" and (found := _PLUS_RANGE.match(text)):
            low, high = sorted((int(found[1]), int(found[2])))
            return Taken({"lowest": low, "highest": high, "unknown": UNSET}[self.column.plus_range or "unknown"])
        return None

    def _ends(self, form: str, first: int, last: int, text: str) -> Taken | Refused:
        if last < first:
            return Refused(f"the range {quoted(text)} ends before it begins", f"write `{last}-{first}`")
        if form == "span":
            return Taken(last - first + 1)
        if self.column.range == "refuse":
            return Refused(f"{quoted(text)} is a range, which this column refuses", "write one number")
        return Taken({"first": first, "last": last, "unknown": UNSET}[self.column.range or "unknown"])

    def _suffixed(self, text: str) -> Taken | Refused | None:
        found = _SUFFIXED.match(text)
        core = self._core(found[1]) if found else None
        if found is None or not isinstance(core, Taken):
            return core
        behind = found[2].strip()
        if behind[:1] + behind[-1:] in ("()", "[]"):
            behind = behind[1:-1].strip()
        match self.column.suffix:
            case "note":
                return Taken(core.value, note=f"{self.column.property}: {behind}")
            case "tag":
                tag = self.column.suffix_tags.get(behind)
                if tag is None:
                    return Refused(
                        f"`suffix_tags` has no {quoted(behind)}", did_you_mean(behind, self.column.suffix_tags)
                    )
                if self.words.tags is not None and tag not in self.words.tags:
                    return Refused(f"the pack has no tag `{tag}`", did_you_mean(tag, self.words.tags))
                return Taken(core.value, tag=tag)
            case "drop":
                return Taken(core.value, dropped=behind)
        return Refused(f"{quoted(behind)} stands behind the number, which this column refuses")

    def _value(self, text: str) -> int | float:
        exact = Decimal(text.replace(",", ".") if self.comma else text) * self.factor
        if exact == exact.to_integral_value():
            return int(exact)
        return float(round(exact, 6))
