"""Writers that are made ready once and forked, each with a connection of its own.

Standard input has ``start MOST`` and ``wait PID``; standard output answers ``started PID``, and for each writer
``PID ready``, ``PID id ID`` once ``add`` has returned, ``PID gone CODE``. A line is one write and so never mixed.
"""

from __future__ import annotations

import os
import sys

from advisor.facts.question import Neutral
from advisor.notebook import Notebook, Situation, Trial
from advisor.notebook.trial import Side

HERE = Situation(pack="p", me=Side(character="a"), them=Side(character="b"), moment=Neutral())


def tell(line: str) -> None:
    """One line in one write."""
    os.write(1, f"{line}\n".encode())


def write(url: str, most: int) -> None:
    """Write ``most`` trials, or until the end comes."""
    me = os.getpid()
    with Notebook(url) as notebook:
        tell(f"{me} ready")
        for number in range(most):
            added = notebook.add(Trial(situation=HERE, response="jab", successes=1, tries=2, note=str(number)))
            tell(f"{me} id {added.id}")


def main(url: str) -> None:
    """Do what standard input asks."""
    for line in sys.stdin:
        word, number = line.split()
        if word == "wait":
            _, status = os.waitpid(int(number), 0)
            tell(f"{number} gone {os.waitstatus_to_exitcode(status)}")
            continue
        child = os.fork()
        if not child:
            code = 1
            try:
                write(url, int(number))
                code = 0
            finally:
                os._exit(code)
        tell(f"started {child}")


if __name__ == "__main__":
    main(sys.argv[1])
