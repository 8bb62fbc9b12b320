"""A second, deliberately plain implementation of the exchange, for comparison with the product."""

from __future__ import annotations

__all__: list[str] = []
