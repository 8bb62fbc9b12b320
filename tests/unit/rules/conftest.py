"""The tests of the engine need the engine; where it is not built, the others still run."""

from __future__ import annotations

from advisor.rules import engine_available

collect_ignore = [] if engine_available() else ["test_rules_engine.py"]
