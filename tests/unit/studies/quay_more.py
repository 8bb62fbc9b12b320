"""The pack of the worked checks with more moves: delayable hits, enders, throws, rises, guards by height."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from advisor.library import Shelf, load_shelf
from tests.worked.asked import FOLDER

__all__ = ["quay_more"]

MORE = Path(__file__).parent / "quay_more_data"
"""What is added at the end of the pack's files."""


@cache
def quay_more(engine: str = "plain") -> Shelf:
    """The pack with more moves, its rules run by ``engine``."""
    with TemporaryDirectory() as folder:
        copied = Path(folder) / FOLDER.name
        shutil.copytree(FOLDER, copied)
        _add(copied / "pack.yaml", "pack")
        for name in ("hesk", "torrow"):
            _add(copied / "characters" / f"{name}.yaml", name)
        return load_shelf(copied, engine=engine)


def _add(path: Path, name: str) -> None:
    text = path.read_text(encoding="utf-8").rstrip("\n").replace(
        "knockdowns: {face_up: on the back}", "knockdowns: {face_up: {meaning: on the back, wake_ups: [rise]}}"
    )
    more = (MORE / f"{name}.yaml").read_text(encoding="utf-8")
    path.write_text(f"{text}\n{more}", encoding="utf-8")
