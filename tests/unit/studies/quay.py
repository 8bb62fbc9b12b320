"""The pack of the worked checks with a knockdown of its own, for checks that can be done by hand."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import msgspec

from advisor.library import Shelf, load_shelf
from advisor.pack.model import Displacement, Knockdown, Move
from advisor.units import Span, to_micro
from tests.worked.asked import FOLDER

__all__ = ["quay"]

NOTHING = {
    "airborne": (), "crouching": (), "invulnerable": (), "armour": (), "parry": (), "sidestep": (),
    "displacement": (), "counter_state": (),
}


def _moved(key: str, total: int, **windows: object) -> Move:
    return Move(id=key, name=key.replace("_", " ").title(), kind="movement", total=total, **{**NOTHING, **windows})


@cache
def quay(engine: str = "plain", rules: Path | None = None) -> Shelf:
    """``rise`` is on the floor for 10 of its 20 frames, ``roll`` for 10 of 30 and 1.0 away by then.

    ``shuffle`` takes 10 frames where it stands, ``stride`` 10 frames for 0.4 forward.
    """
    shelf = load_shelf(FOLDER, engine=engine, rules=[rules] if rules else [])
    back = Displacement(span=Span(1, 11), step=-to_micro(0.1))
    near = Displacement(span=Span(1, 11), step=to_micro(0.04))
    wake_ups = {
        "rise": _moved("rise", 20, grounded=(Span(1, 11),)),
        "roll": _moved("roll", 30, grounded=(Span(1, 11),), displacement=(back,)),
    }
    system = {
        **shelf.pack.system,
        "shuffle": _moved("shuffle", 10),
        "stride": _moved("stride", 10, displacement=(near,)),
    }
    conventions = msgspec.structs.replace(
        shelf.pack.conventions, knockdowns={"face_up": Knockdown(id="face_up", wake_ups=("rise", "roll"))}
    )
    pack = msgspec.structs.replace(shelf.pack, conventions=conventions, system=system, wake_ups=wake_ups)
    return msgspec.structs.replace(shelf, pack=pack)
