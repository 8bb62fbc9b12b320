"""What an exchange leaves, as the terminal shows it."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from advisor.advice.answer import Leaves
from advisor.clients.advice_view import advice_view
from tests.worked.demo_answer import advised


@pytest.mark.parametrize("width", [80, 160])
@pytest.mark.parametrize(
    ("leaves", "shown"),
    [
        (Leaves(advantage=22, knockdown="sat_down", distance=0.6, wall="panes_out"), "panes out (wall)"),
        (Leaves(floor="cracked", wall="none"), "cracked (floor)"),
    ],
)
def test_walls_and_floors_are_shown(leaves: Leaves, shown: str, width: int) -> None:
    advice = advised(("wenna", "turn_to_wall"), ("marl", "guard"), me={"near_wall": False})
    for wanted in (False, True):
        advice.responses[0].leaves = leaves if wanted else Leaves(wall="none", floor="none")
        out = io.StringIO()
        Console(file=out, width=width).print(advice_view(advice, why=False, width=width))
        text = " ".join(out.getvalue().split())
        assert ("(wall)" in text or "(floor)" in text) is wanted
        assert width < 110 or wanted is False or shown.split()[-1] in text
        assert width >= 110 or (shown in text) is wanted
