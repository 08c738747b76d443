"""Pieces that schemes share: lines driven by several sources at once, and words read off lines."""

from __future__ import annotations

from verify.language import expressions as ex
from verify.language.machine import Rule
from verify.language.state import Flag, Number, flag, number
from verify.parts.signals import far_fall, far_rise, line_fall, line_rise


class Driver:
    """The transmitter's end of a line: high while at least one source drives it.

    Sources add and take away ``driven``; ``edges`` then says what the line does in this tick.
    ``high``: one does so at power-up.
    """

    def __init__(self, name: str, line: int, most: int, *, high: bool = False) -> None:
        self.driven: Number = number(f"{name}.driven{line}", 0, most, int(high), wire=True)
        self.high: Flag = flag(f"{name}.high{line}", high, wire=True)
        self.line = line

    @property
    def memory(self) -> tuple[Number, ...]:
        """What the machine that owns the driver has to declare."""
        return self.driven, self.high

    def edges(self, when: ex.Bool) -> tuple[Rule, ...]:
        """Rules to follow those that change ``driven``; ``when`` is their trigger."""
        driven, high = self.driven.read() > 0, self.high.up()
        rise = (self.high.put_up(), line_rise(self.line).emit())
        fall = (self.high.put_down(), line_fall(self.line).emit())
        # Two rules: after a rise the line is high and driven, so the second does nothing.
        return (
            Rule(f"line {self.line} rises", when & driven & ~high, rise),
            Rule(f"line {self.line} falls", when & ~driven & high, fall),
        )


class Listener:
    """The receiver's end of a line: knows its level."""

    def __init__(self, name: str, line: int, branch: int, *, high: bool = False) -> None:
        self.high: Flag = flag(f"{name}.high{line}", high, wire=True)
        self.rises = far_rise(line, branch).happens()
        self.falls = far_fall(line, branch).happens()

    def follow(self) -> tuple[Rule, ...]:
        """Rules to go before those that read the level in the same tick."""
        return (
            Rule("goes high", self.rises, (self.high.put_up(),)),
            Rule("goes low", self.falls, (self.high.put_down(),)),
        )


def bit(codes: tuple[int, ...], place: int) -> tuple[int, ...]:
    """Per input, the bit of its code in this place (0: least)."""
    return tuple(code >> place & 1 for code in codes)
