"""Whatever a pack's files hold, loading gives a pack or faults with their places, and nothing else."""

from __future__ import annotations

import re
import tempfile
import time
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from advisor.documents import parse_document
from advisor.errors import DataError
from advisor.pack.check import BROKEN, form_faults
from advisor.pack.load import Loaded, load_pack
from advisor.pack.written import WrittenCharacter, WrittenPack
from tests.unit.pack.pack_folder import CHARACTER, PACK, write_pack

TOKEN = re.compile(r"[A-Za-z0-9_.+\-\"]+|[\[\]{},:\n]")
TOKENS = sorted({*TOKEN.findall(PACK), *TOKEN.findall(CHARACTER)})
NASTY = [
    "&a [*a, *a]", "*a", "!!python/object:os.system", "[" * 50, "{a: " * 40, ".nan", "-.inf", "9" * 400,
    "1e999", "\x00", "\x07", "\u202e", "\ufeff", "x" * 5000, "unknown", "held", "none", "null", "~",
    "- ", "? ", ": ", "\t", "|\n  x", "'", '"', '"\\u0007"', '"\\ud800"', "---\n", "...", "%YAML 1.1\n",
    "#", "-1", "0", "10000", "1.5", "true", "[]", "{}", "[1, 2]", "[5, 3]", "[held, held]",
    "[[1, 2], [1]]", "{levels: [high]}", "<<", "`", "\u2028",
]  # fmt: skip
COUNT = 150
QUICK = settings(
    max_examples=COUNT,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)

pieces = st.one_of(st.sampled_from(NASTY), st.sampled_from(TOKENS), st.text(max_size=8))


@st.composite
def changed_text(draw: st.DrawFn, text: str) -> str:
    """``text`` with one to three words or spans replaced by something else."""
    for _ in range(draw(st.integers(1, 3))):
        if draw(st.booleans()):
            spans = [match.span() for match in TOKEN.finditer(text)] or [(0, 0)]
            start, stop = draw(st.sampled_from(spans))
        else:
            start = draw(st.integers(0, len(text)))
            stop = draw(st.integers(start, min(len(text), start + 30)))
        text = text[:start] + draw(pieces) + text[stop:]
    return text


@st.composite
def changed_bytes(draw: st.DrawFn, raw: bytes) -> bytes:
    """``raw`` with some bytes replaced, taken out or put in."""
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(raw)))
        raw = raw[:at] + draw(st.binary(max_size=4)) + raw[at + draw(st.integers(0, 4)) :]
    return raw


def load_or_faults(pack: str | bytes, character: str | bytes) -> Loaded | DataError:
    """Load the two files; checks whatever comes out."""
    with tempfile.TemporaryDirectory() as folder:
        root = write_pack(Path(folder), pack, {"ash": character})
        try:
            done = load_pack(root)
        except DataError as error:
            assert any(one.severity == "error" for one in error.findings)
            check_findings(error.findings)
            assert str(error).encode()
            return error
    check_findings(done.warnings)
    assert all(one.severity == "warning" for one in done.warnings)
    assert msgspec.json.encode(done.pack.characters["ash"])
    return done


def check_findings(findings: Any) -> None:
    for one in findings:
        assert one.file and one.line >= 1 and one.column >= 1, one
        assert one.code and one.message and "\n" not in one.message, one
        assert len(one.message) < 500 and one.message.isprintable(), one
        assert "Expected `" not in one.message and "$." not in one.message, one


@given(changed_text(PACK), changed_text(CHARACTER))
@QUICK
def test_changed_texts(pack: str, character: str) -> None:
    load_or_faults(pack.encode("utf-8", "replace"), character.encode("utf-8", "replace"))


def test_a_changed_character() -> None:
    outcomes: set[type[Loaded | DataError]] = set()

    @given(changed_text(CHARACTER))
    @QUICK
    def change(character: str) -> None:
        outcomes.add(type(load_or_faults(PACK, character.encode("utf-8", "replace"))))

    change()
    assert outcomes == {Loaded, DataError}


@given(changed_bytes(PACK.encode()), changed_bytes(CHARACTER.encode()))
@QUICK
def test_changed_bytes(pack: bytes, character: bytes) -> None:
    load_or_faults(pack, character)


plain = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(-20_000, 20_000), st.floats(-5, 2000), st.text(max_size=90),
        st.sampled_from(["unknown", "none", "held", "left", "attack", "first_active", "high"]),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=5,
)  # fmt: skip


def places_of(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(place for key, one in inner for place in places_of(one, (*path, key)))]


def replaced(value: Any, path: tuple[Any, ...], new: Any) -> Any:
    if not path:
        return new
    copy = value.copy()
    copy[path[0]] = replaced(value[path[0]], path[1:], new)
    return copy


@pytest.mark.parametrize(("form", "text"), [(WrittenPack, PACK), (WrittenCharacter, CHARACTER)])
def test_the_walk_and_the_fast_path_agree(form: type[Any], text: str) -> None:
    """A document has faults of form exactly when it cannot be converted; what is left always can."""
    document = parse_document(text.encode(), "file")
    good = document.value
    places = places_of(good)
    outcomes: set[bool] = set()

    @given(st.sampled_from(places), plain)
    @QUICK
    def agree(place: tuple[Any, ...], new: Any) -> None:
        document.value = replaced(good, place, new)
        left, faults = form_faults(document, form)
        try:
            msgspec.convert(document.value, form)
            converts = True
        except msgspec.ValidationError:
            converts = False
        outcomes.add(converts)
        assert converts == (not faults)
        if left is not BROKEN:
            msgspec.convert(left, form)

    agree()
    assert outcomes == {True, False}


BOMB = "".join(f"k{n}: &k{n} [{', '.join([f'*k{n - 1}'] * 9)}]\n" for n in range(1, 12))


@pytest.mark.parametrize(
    ("character", "code"),
    [
        ("k0: &k0 [x]\n" + BOMB, "anchor-refused"),
        ("id: ash\nmoves: " + "[" * 100_000, "too-deep"),
        ("id: ash\nmoves: " + "{a: " * 100_000, "too-deep"),
        ("- " * 100_000, "too-deep"),
        ("id: ash\nhealth: .NaN\nmoves: [{name: Tap}]\n", "not-finite"),
        (f"id: ash\nhealth: {'9' * 100_000}\nmoves: [{{name: Tap}}]\n", "type-wrong"),
        (f"id: ash\nname: {'x' * 1_000_000}\nmoves: [{{name: Tap}}]\n", "text-too-long"),
        (f"id: {'x' * 1_000_000}\nmoves: [{{name: Tap}}]\n", "id-not-slug"),
        (f"id: ash\n{'x' * 1_000_000}: 1\nmoves: [{{name: Tap}}]\n", "not-yaml"),
        (f"id: ash\n{'x' * 1_000}: 1\nmoves: [{{name: Tap}}]\n", "key-not-text"),
        (f"id: ash\nmoves: [{{name: Tap, level: {'x' * 1_000_000}}}]\n", "level-unknown"),
        (
            f"id: ash\nmoves: [{{name: Tap, follow_ups: [{{move: {'x' * 100_000}, begins: 2}}]}}]\n",
            "move-unknown",
        ),
        (b"id: ash\nname: \xff\n", "not-utf-8"),
        (b"\xff\xfe" + "id: ash\n".encode("utf-16-le"), "not-utf-8"),
        ("x" * (4 * 1024 * 1024 + 1), "file-too-large"),
        ("id: ash\nmoves: [" + "{}, " * 100_000 + "]\n", "list-too-long"),
        ("id: ash\nmoves: [" + "5, " * 100_000 + "]\n", "list-too-long"),
    ],
    ids=lambda value: value if isinstance(value, str) and len(value) < 30 else "text",
)
def test_hostile_files_end_soon_in_faults(character: str | bytes, code: str) -> None:
    start = time.perf_counter()
    error = load_or_faults(PACK, character)
    assert isinstance(error, DataError)
    assert code in {one.code for one in error.findings}
    assert len(str(error)) < 100_000
    assert time.perf_counter() - start < 20
