"""The keys of a lighthouse: a transmitter of `lighthouse.toml` that talks lines of CSV.

With an argument it has one fault.
"""

from __future__ import annotations

import sys

GAPS = {"in.red": 2, "in.green": 4, "in.white": 6}
FAULT = sys.argv[1] if len(sys.argv) > 1 else ""


def main() -> None:
    """Edges that are due are said at the `now` that reaches them."""
    due: dict[int, int] = {}  # tick -> value of the line
    before = ""
    for line in sys.stdin:
        tick, signal, value = line.strip().split(",")
        if signal == "reset":
            due, before = {}, ""
        elif signal in GAPS and value == "1":
            gap = GAPS[signal]
            # The fault: what was pressed twice is not sent in full.
            if FAULT == "hurries" and signal == before:
                gap -= 1
            before = signal
            for start in (int(tick), int(tick) + gap):
                due[start], due[start + 1] = 1, 0
        if signal == "now":
            for when in sorted(t for t in due if t <= int(tick)):
                print(f"{when},line,{due.pop(when)}")
        if signal in ("reset", "now"):
            print(line.strip(), flush=True)


main()
