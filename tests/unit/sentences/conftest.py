"""The stores that every test here runs on."""

from __future__ import annotations

from tests.notebook_faults.stores import address, notebook

__all__ = ["address", "notebook"]
