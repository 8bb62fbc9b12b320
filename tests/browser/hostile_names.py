"""A pack whose names try what a page may fall for: markup, right-to-left text, a name without a place to break."""

from __future__ import annotations

import shutil
from pathlib import Path

from advisor.library import bundled_rules

__all__ = ["HOSTILE", "LONG", "RIGHT_TO_LEFT", "hostile_pack"]

HOSTILE = "<img src=x onerror=alert(1)><script>alert(2)</script>"
RIGHT_TO_LEFT = "\u05d0\u05d1\u05d2 \u05d3\u05d4 (1)"
LONG = "Gantry" * 13


def hostile_pack(folder: Path) -> Path:
    """The demo pack with markup, right-to-left text and a name without a place to break."""
    pack = folder / "hostile"
    shutil.copytree(bundled_rules() / "packs" / "cold_frame", pack)
    for file, swaps in (
        ("pack.yaml", {"id: cold_frame": "id: hostile", "name: Cold Frame Quarrel": f"name: '{HOSTILE}'"}),
        ("characters/marl.yaml", {"name: Cinder Knee": f"name: '{HOSTILE}'", "name: Dessa Marl": f"name: '{LONG}'"}),
        ("characters/wenna.yaml", {"name: Putty Jab": f"name: '{HOSTILE}'", "name: Set the Pane": f"name: '{LONG}'",
                                   "name: Wenna Pallister": f"name: '{RIGHT_TO_LEFT}'"}),
    ):  # fmt: skip
        path = pack / file
        text = path.read_text("utf-8")
        for old, new in swaps.items():
            assert old in text, old
            text = text.replace(old, new, 1)
        path.write_text(text, encoding="utf-8")
    return pack
