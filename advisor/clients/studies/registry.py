"""The commands of the studies, by the words that call them, in the order in which they are documented."""

from __future__ import annotations

import click

from advisor.clients.studies import (
    baits,
    beats,
    coverage,
    defence,
    exposed,
    guess,
    lab_list,
    parries,
    replay,
    round,
    setups,
    strings,
)

__all__ = ["COMMANDS"]

COMMANDS: dict[str, click.Command] = {
    "coverage": coverage.command,
    "replay": replay.command,
    "strings": strings.command,
    "defence": defence.command,
    "parries": parries.command,
    "beats": beats.command,
    "exposed": exposed.command,
    "lab-list": lab_list.command,
    "setups": setups.command,
    "baits": baits.command,
    "guess": guess.command,
    "round": round.command,
}
