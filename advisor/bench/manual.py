"""A process that runs facts and rules through the engine package's own host, and prints the time taken."""

from __future__ import annotations

import contextlib
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

import msgspec
from durable import engine as durable_engine  # type: ignore[import-untyped,import-not-found,unused-ignore]

__all__ = ["main"]


def main() -> None:
    """Read the work from standard input, print milliseconds a question."""
    work = msgspec.json.decode(sys.stdin.buffer.read())
    host = durable_engine.Host()
    fired: list[str] = []

    def action(name: str) -> Callable[[Any], None]:
        def run(_: Any) -> None:
            fired.append(name)

        return run

    for i, (definitions, _, _) in enumerate(work["sets"]):
        host.set_rulesets({f"set{i}": {k: {**d, "run": action(k)} for k, d in definitions.items()}})
    times = []
    for n in range(work["repeat"]):
        start = time.process_time()
        for i, (_, rows, last) in enumerate(work["sets"]):
            sid = f"q{n}"
            # Some fact of the batch matches no rule; the next handled one runs the actions.
            with contextlib.suppress(durable_engine.MessageNotHandledException):
                host.assert_facts(f"set{i}", [{**row, "sid": sid, "id": f"r{k}"} for k, row in enumerate(rows)])
            host.assert_fact(f"set{i}", {**last, "sid": sid, "id": "last"})
        times.append((time.process_time() - start) * 1000)
    if not fired:
        raise SystemExit("no rule fired")
    print(statistics.median(times))


if __name__ == "__main__":
    main()
