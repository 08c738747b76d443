"""Names for people: of inputs, outputs, lines and ticks."""

from __future__ import annotations

from collections.abc import Sequence

from verify.parts.link import Link
from verify.units import duration_text, seconds


def printable(text: str) -> str:
    """The text on one line: unprintable characters and backslashes as escapes, so that
    different texts stay different."""
    text = text.replace("\\", "\\\\")
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode("ascii")
        for c in text
    )


def quoted(link: Link, index: int) -> str:
    """The name of an input and its output, in quotes."""
    return f"'{printable(link.names[index])}'"


def moment(tick: int, link: Link) -> str:
    """A tick and its time since the start: ``tick 15 (750 ms)``."""
    return f"tick {tick} ({duration_text(seconds(tick, link.tick))})"


def input_signal(link: Link, index: int) -> str:
    """The name that an input has in traces."""
    return f"in.{link.names[index]}"


def output_signal(link: Link, index: int, branch: int) -> str:
    """The name that an output of a branch has in traces."""
    return f"out.{link.names[index]}{branch_suffix(link, branch)}"


def branch_suffix(link: Link, branch: int) -> str:
    """What tells branches apart in names; nothing where there is only one."""
    return f".{branch + 1}" if len(link.branches) > 1 else ""


def line_signals(link: Link, line: int, branch: int) -> tuple[str, str]:
    """The names that the near and the far end of a line have in traces."""
    near = "line" if link.scheme.lines == 1 else f"line.{line + 1}"
    return near, f"{near}.far{branch_suffix(link, branch)}"


def end_name(near: str, seen: str) -> str:
    """An end of a line, by the signal of its near end and that of the end that is meant."""
    name = "the line" if near == "line" else near
    return name if near == seen else f"the far end of {name}"


def on_branch(link: Link, branch: int) -> str:
    """The branch, where there are several."""
    return f" on branch {branch + 1}" if len(link.branches) > 1 else ""


def listed(words: Sequence[str]) -> str:
    """One; one and two; one, two and three."""
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]])) if words else ""


def count_of_ticks(count: int) -> str:
    """``1 tick``, ``2 ticks``."""
    return f"{count} tick" if count == 1 else f"{count} ticks"


__all__ = [
    "branch_suffix",
    "count_of_ticks",
    "end_name",
    "input_signal",
    "line_signals",
    "listed",
    "moment",
    "on_branch",
    "output_signal",
    "printable",
    "quoted",
]
