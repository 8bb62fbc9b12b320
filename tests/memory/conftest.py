"""The memory tests look into the engine; where it is not built there is nothing to look into."""

from __future__ import annotations

from advisor.rules import engine_available

collect_ignore = [] if engine_available() else ["test_engine_memory.py"]
