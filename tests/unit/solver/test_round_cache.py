"""Solved rounds on disk: hits, damage to the files, other versions, folders that cannot be used."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np
import pytest
from round_samples import duel

from advisor.solver import round_cache
from advisor.solver.round import Cancelled
from advisor.solver.round_cache import cache_folder, kept_round, round_key

MODEL = duel(3)


def only_file(folder: Path) -> Path:
    (found,) = folder.iterdir()
    return found


def test_the_second_time_comes_from_disk(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "er"
    first = kept_round(MODEL, folder=folder)
    again = kept_round(duel(3), folder=folder, cancelled=lambda: True)
    assert (first.from_cache, again.from_cache, first.note, again.note) == (False, True, "", "")
    assert np.array_equal(first.solution.lower, again.solution.lower)
    assert np.array_equal(first.solution.upper, again.solution.upper)
    for field in ("model", "tolerance", "closed", "widest", "rounding_error", "open_states"):
        assert getattr(first.solution, field) == getattr(again.solution, field)
    assert only_file(folder).name == f"round-{round_key(MODEL, 1e-4)}.npz"


def test_the_key_knows_all_that_matters(monkeypatch: pytest.MonkeyPatch) -> None:
    keys = {
        round_key(MODEL, 1e-4), round_key(MODEL, 1e-5), round_key(duel(4), 1e-4),
        round_key(msgspec.structs.replace(MODEL, draw=0.0), 1e-4),
    }
    assert round_key(duel(3), 1e-4) in keys
    monkeypatch.setattr(round_cache, "FORMAT", round_cache.FORMAT + 1)
    keys.add(round_key(MODEL, 1e-4))
    assert len(keys) == 5


@pytest.mark.parametrize("keep", [0.0, 0.4, 0.99])
def test_a_file_cut_short_is_worked_out_anew(tmp_path: Path, keep: float) -> None:
    first = kept_round(MODEL, folder=tmp_path)
    path = only_file(tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * keep)])
    again = kept_round(MODEL, folder=tmp_path)
    assert not again.from_cache
    assert "not usable" in again.note
    assert np.array_equal(first.solution.lower, again.solution.lower)
    assert kept_round(MODEL, folder=tmp_path).from_cache


def test_any_flipped_byte_is_noticed_or_harmless(tmp_path: Path) -> None:
    first = kept_round(MODEL, folder=tmp_path)
    path = only_file(tmp_path)
    whole = path.read_bytes()
    noticed = 0
    for at in range(0, len(whole), 97):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :])
        again = kept_round(MODEL, folder=tmp_path)
        noticed += not again.from_cache
        assert np.array_equal(first.solution.lower, again.solution.lower)
        assert np.array_equal(first.solution.upper, again.solution.upper)
    assert noticed > 5


def test_altered_bounds_do_not_pass(tmp_path: Path) -> None:
    """A whole archive with another number in it: only the checksum can tell."""
    first = kept_round(MODEL, folder=tmp_path)
    path = only_file(tmp_path)
    with np.load(path, allow_pickle=False) as kept:
        parts = {name: kept[name] for name in kept.files}
    parts["lower"] = parts["lower"] + 0.01
    np.savez(path, **parts)
    again = kept_round(MODEL, folder=tmp_path)
    assert "checksum differs" in again.note
    assert np.array_equal(first.solution.lower, again.solution.lower)


def test_another_rounds_file_does_not_pass(tmp_path: Path) -> None:
    kept_round(msgspec.structs.replace(MODEL, draw=0.0), folder=tmp_path)
    only_file(tmp_path).rename(tmp_path / f"round-{round_key(MODEL, 1e-4)}.npz")
    again = kept_round(MODEL, folder=tmp_path)
    assert (again.from_cache, "another round" in again.note) == (False, True)


def test_a_folder_that_cannot_be_used(tmp_path: Path) -> None:
    """A file where the folder should be: nobody can write there, whatever their rights."""
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    found = kept_round(MODEL, folder=blocked / "cache")
    assert not found.from_cache
    assert "could not be kept" in found.note
    assert found.solution.closed


def test_nothing_is_left_behind_when_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(round_cache.os, "replace", full)
    assert "no space left" in kept_round(MODEL, folder=tmp_path).note
    assert list(tmp_path.iterdir()) == []


def test_cancelling_keeps_nothing(tmp_path: Path) -> None:
    with pytest.raises(Cancelled):
        kept_round(MODEL, folder=tmp_path, cancelled=lambda: True)
    assert list(tmp_path.iterdir()) == []


# Source: XDG Base Directory Specification: an unset, empty or relative path means ~/.cache; citation from memory
def test_the_default_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache_folder() == tmp_path / "situation-advisor"
    assert not kept_round(MODEL).from_cache
    assert kept_round(MODEL).from_cache
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    for other in ("", "some/where"):
        monkeypatch.setenv("XDG_CACHE_HOME", other)
        assert cache_folder() == tmp_path / "home" / ".cache" / "situation-advisor"
