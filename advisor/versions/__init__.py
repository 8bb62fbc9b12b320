"""Two versions of a pack compared: which properties changed, and what follows from it."""

from __future__ import annotations

from advisor.versions.answer import AskedBefore, Comparison, Consequence, PropertyChange, PunishChange
from advisor.versions.compare import compare

__all__ = ["AskedBefore", "Comparison", "Consequence", "PropertyChange", "PunishChange", "compare"]
