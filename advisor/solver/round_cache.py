"""Solved rounds kept on disk: one file a model, safe against half-written files and other versions.

The name of a file is the SHA-256 of the model, the tolerance and the version of this format, written canonically.
A file carries a checksum of all it holds; one that is cut short, altered or of another shape is worked out anew.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
from msgspec import Struct

from advisor.sentences import say
from advisor.solver.guarantee import Floats
from advisor.solver.round import RoundSolution, solve_round
from advisor.solver.round_model import RoundModel, check_model

__all__ = ["FORMAT", "KeptRound", "cache_folder", "kept_round", "round_key"]

FORMAT = 2
"""Version of the files and of the method behind them; raise it when either changes what an answer holds."""

UNREADABLE = (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, zlib.error, NotImplementedError)


class KeptRound(Struct, frozen=True, kw_only=True):
    """A solved round, whether it came from disk, and what went wrong with the cache (empty: nothing)."""

    solution: RoundSolution
    from_cache: bool
    note: str = ""


class _Facts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a file says besides the bounds."""

    key: str
    closed: bool
    widest: float
    rounding_error: float
    open_states: int


def cache_folder() -> Path:
    """Where solved rounds are kept by default: ``$XDG_CACHE_HOME`` or ``~/.cache``, then ``situation-advisor``."""
    base = os.environ.get("XDG_CACHE_HOME", "")
    # the base directory specification has relative paths ignored
    root = Path(base) if base and Path(base).is_absolute() else Path("~/.cache").expanduser()
    return root / "situation-advisor"


def round_key(model: RoundModel, tolerance: float) -> str:
    """SHA-256 (hexadecimal) of the model, the tolerance and ``FORMAT`` as sorted JSON; equal for equal models."""
    written = msgspec.json.encode({"format": FORMAT, "tolerance": tolerance, "model": model}, order="sorted")
    return hashlib.sha256(written).hexdigest()


def kept_round(
    model: RoundModel, *, tolerance: float = 1e-4, folder: Path | None = None,
    progress: Callable[[int, int], None] | None = None, cancelled: Callable[[], bool] | None = None,
) -> KeptRound:
    """The solved round from ``folder``, or worked out and kept there.

    A folder that cannot be read or written costs the cache only: the answer is worked out and ``note`` says so.
    Errors: ``DataError`` for a model that means nothing; ``Cancelled``.
    """
    check_model(model)
    key = round_key(model, tolerance)
    notes: list[str] = []
    try:
        path = (folder or cache_folder()) / f"round-{key}.npz"
        solution = _read(path, key, model, tolerance)
        if solution is not None:
            return KeptRound(solution=solution, from_cache=True)
    except (*UNREADABLE, RuntimeError) as error:
        notes.append(say("kept round not usable, worked out anew ({error})", error=_said(error)))
    solution = solve_round(model, tolerance=tolerance, progress=progress, cancelled=cancelled)
    try:
        _write((folder or cache_folder()) / f"round-{key}.npz", key, solution)
    except (OSError, RuntimeError) as error:
        notes.append(say("the round could not be kept ({error})", error=_said(error)))
    return KeptRound(solution=solution, from_cache=False, note="; ".join(notes))


def _said(error: Exception) -> str:
    return (str(error) or type(error).__name__).splitlines()[0][:200]


def _read(path: Path, key: str, model: RoundModel, tolerance: float) -> RoundSolution | None:
    """The kept solution, None where there is none; an error of ``UNREADABLE`` where the file is no good."""
    if not path.exists():
        return None
    # opened here, since numpy leaves a file that is no archive open
    with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
        lower, upper, facts, check = (kept[name] for name in ("lower", "upper", "facts", "checksum"))
    if check.dtype != np.uint8 or check.tobytes() != _checksum(lower, upper, facts):
        raise ValueError("checksum differs")
    said = msgspec.json.decode(facts.tobytes(), type=_Facts)
    shape = (len(model.situations), model.my_steps + 1, model.their_steps + 1)
    if said.key != key or any(b.shape != shape or b.dtype != np.float64 for b in (lower, upper)):
        raise ValueError("written for another round")
    return RoundSolution(
        model=model, lower=lower, upper=upper, tolerance=tolerance, closed=said.closed, widest=said.widest,
        rounding_error=said.rounding_error, open_states=said.open_states,
    )


def _checksum(lower: Floats, upper: Floats, facts: np.ndarray[tuple[int], np.dtype[np.uint8]]) -> bytes:
    digest = hashlib.sha256()
    for part in (lower, upper, facts):
        digest.update(f"{part.dtype.str}{part.shape}".encode())
        digest.update(np.ascontiguousarray(part).tobytes())
    return digest.digest()


def _write(path: Path, key: str, solution: RoundSolution) -> None:
    """Write beside the file and rename over it, so that a reader sees the old one, the new one or none."""
    said = _Facts(
        key=key, closed=solution.closed, widest=solution.widest, rounding_error=solution.rounding_error,
        open_states=solution.open_states,
    )
    facts = np.frombuffer(msgspec.json.encode(said), dtype=np.uint8)
    check = np.frombuffer(_checksum(solution.lower, solution.upper, facts), dtype=np.uint8)
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".round-", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as out:
            np.savez_compressed(
                out, allow_pickle=False, lower=solution.lower, upper=solution.upper, facts=facts, checksum=check
            )
            out.flush()
            os.fsync(out.fileno())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
