"""Two versions of a pack compared: which properties changed, and what follows from it."""

from __future__ import annotations

from advisor.versions.answer import AskedBefore, Comparison, Consequence, PropertyChange, PunishChange, StudyBefore
from advisor.versions.compare import compare
from advisor.versions.studied import changed_studies

__all__ = [
    "AskedBefore", "Comparison", "Consequence", "PropertyChange", "PunishChange", "StudyBefore", "changed_studies",
    "compare",
]  # fmt: skip
