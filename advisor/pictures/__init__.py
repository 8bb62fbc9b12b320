"""Answers as pictures: heat maps, bars, curves and strips, as SVG and PNG.

The drawing library is loaded when the first picture is drawn, not when this package is imported.
"""

from __future__ import annotations

from advisor.pictures.coverage_map import coverage_picture
from advisor.pictures.mix_bars import mix_picture
from advisor.pictures.win_chance import win_picture
from advisor.pictures.windows_strip import windows_picture

__all__ = ["coverage_picture", "mix_picture", "win_picture", "windows_picture"]
