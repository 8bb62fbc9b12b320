"""How the tests of the command run it."""

from __future__ import annotations

from collections.abc import Callable

from click.testing import Result

Run = Callable[..., Result]
"""``advisor`` with the given words in this process; ``columns`` is the width, ``environ`` what is set."""
