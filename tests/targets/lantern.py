"""The shutters of a lighthouse: a receiver of `lighthouse.toml` that talks lines of CSV.

It keeps its own time by `now`. With an argument it has one fault, or behaves badly.
"""

from __future__ import annotations

import subprocess
import sys
import time

SHUTTERS = {2: "red", 4: "green", 6: "white"}
FAULT = sys.argv[1] if len(sys.argv) > 1 else ""


def misbehave(rises: int) -> None:
    """Once it has heard enough."""
    if rises < 3:
        return
    if FAULT == "dies":
        print("lamp out", file=sys.stderr)
        sys.exit(7)
    if FAULT in ("hangs", "hangs with a child"):
        if FAULT == "hangs with a child":
            subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)", *sys.argv[2:]])
        time.sleep(600)
    if FAULT == "babbles":
        print("good evening", flush=True)
    if FAULT == "floods":
        while True:
            print("x" * 1000)


def main() -> None:
    """One line in, perhaps one out; every answer ends with an echo."""
    armed: int | None = None
    rises = 0
    for line in sys.stdin:
        tick, signal, value = line.strip().split(",")
        if signal == "reset":
            armed, rises = None, 0
        elif signal == "line" and value == "1":
            rises += 1
            misbehave(rises)
            gap = 99 if armed is None else int(tick) - armed
            if gap in SHUTTERS:
                print(f"{tick},out.{SHUTTERS[gap]},1")
                # The fault: the second pulse of a send is taken for the first of another.
                armed = int(tick) if FAULT == "stays armed" else None
            else:
                armed = int(tick) if gap > 6 else None
        if signal in ("reset", "now"):
            print(line.strip(), flush=True)


main()
