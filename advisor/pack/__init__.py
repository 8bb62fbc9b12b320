"""Packs: one game's data as people write it, checked and made explicit."""

from __future__ import annotations

__all__: list[str] = []
