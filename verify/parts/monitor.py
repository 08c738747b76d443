"""The monitor: sees presses and strikes only, and says what came out wrong.

It is the same for every scheme. Each press makes its strike *due* in a window; strikes
are matched to presses of the same input, oldest first. ``judge`` then names what is left.
"""

from __future__ import annotations

from dataclasses import dataclass

from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, Machine, Statement
from verify.language.state import Bank, Number, Signal, Timer, unknown
from verify.parts.signals import PRESS, Kind, delivered, failure, strike


@dataclass(frozen=True)
class Windows:
    """When strikes are due, in ticks after the press, per input.

    ``earliest``/``latest``: the window. ``shift``: the strike comes up to this much
    earlier in truth than the model shows (a line delay whose range was factored out),
    the same amount for the whole run. ``sends``: for a transmitter that queues, how long
    each send occupies it: a press that waits may be later by the sends ahead of it.
    """

    earliest: tuple[int, ...]
    latest: tuple[int, ...]
    shift: int = 0
    sends: tuple[int, ...] | None = None


def build(branch: int, windows: Windows) -> tuple[Machine, Machine]:
    """The two machines that watch the receiver of one branch: match, then judge.

    Splitting them lets all strikes of a tick find their presses before any is blamed.
    """
    name = f"monitor{branch}"
    due = Bank(f"{name}.due", ("input", "total", "width"))
    stray = Signal(f"{name}.stray", ("output",))
    memory: list[Number | Timer | Bank] = [due]
    pressed, struck, entry = PRESS.occurrence("p"), strike(branch).occurrence("s"), due.entry("d")

    index = pressed["input"]
    latest: ex.Int = ex.Lookup(windows.latest, index)
    width = tuple(b - a for a, b in zip(windows.earliest, windows.latest, strict=True))
    wide: ex.Int = ex.Lookup(width, index)
    if windows.shift:
        shift = unknown(f"{name}.shift", 0, windows.shift)
        memory.append(shift)
        latest = latest - shift.read()
    on_press: list[Statement] = []
    if windows.sends is None:
        on_press.append(due.put(latest, index, latest, wide))
    else:
        # An ideal queue's backlog: the sends ahead of a press, in ticks.
        backlog = Timer(f"{name}.backlog", 10**12)
        memory.append(backlog)
        late = latest + backlog.left
        on_press.append(due.put(late, index, late, wide + backlog.left))
        on_press.append(backlog.start(backlog.left + ex.Lookup(windows.sends, index)))

    match = Machine(
        name,
        tuple(memory),
        (
            Each(PRESS, "p", tuple(on_press)),
            Each(
                strike(branch),
                "s",
                (
                    Earliest(
                        due,
                        "d",
                        entry["input"].eq(struck["output"]) & (entry.left <= entry["width"]),
                        (
                            entry.take(),
                            delivered(branch).emit(entry["input"], entry["total"] - entry.left),
                        ),
                        (stray.emit(struck["output"]),),
                    ),
                ),
            ),
        ),
    )
    return match, _judge(branch, due, stray)


def _judge(branch: int, due: Bank, stray: Signal) -> Machine:
    entry, other, output = due.entry("e"), due.entry("o"), stray.occurrence("x")["output"]
    fail = failure(branch)
    blame = Earliest(
        due,
        "o",
        other["input"].ne(output) & (other.left <= other["width"]),
        (fail.emit(Kind.WRONG_OUTPUT, other["input"], output),),
        (fail.emit(Kind.GHOST, -1, output),),
    )
    lost = fail.emit(Kind.LOST, entry["input"], -1)
    return Machine(
        f"monitor{branch}.judge",
        (),
        (
            Each(stray, "x", (blame,)),
            Each(due, "e", (lost,), expired=True),
        ),
    )
