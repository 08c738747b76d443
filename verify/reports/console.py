"""Where answers are printed: stdout, wrapped to the terminal's width."""

from __future__ import annotations

import os
from textwrap import fill
from typing import Any

from rich.console import Console
from rich.text import Text


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Left to the command line, which knows the exit status; rich would exit with 1."""
        raise BrokenPipeError


def output_console() -> Console:
    """Stdout."""
    return _Console(highlight=False, soft_wrap=False, **_colour())


def error_console() -> Console:
    """Stderr, for progress and notes."""
    return _Console(stderr=True, highlight=False, soft_wrap=False, **_colour())


def _colour() -> dict[str, Any]:
    """What NO_COLOR, CLICOLOR and CLICOLOR_FORCE say (common practice: no-color.org).

    The first that is set counts: NO_COLOR, not empty: no colours; CLICOLOR_FORCE, not 0:
    colours in a pipe as well; CLICOLOR=0: no colours.
    """
    if os.environ.get("NO_COLOR"):
        return {"no_color": True}
    if os.environ.get("CLICOLOR_FORCE", "0") not in ("", "0"):
        return {"force_terminal": True}
    return {"no_color": True} if os.environ.get("CLICOLOR") == "0" else {}


def say(console: Console, text: str, style: str = "", *, indent: str = "", hang: str = "") -> None:
    """Text, each of its lines wrapped: the first one after ``indent``, the rest after ``hang``."""
    # Wrapped here: rich would leave a blank at the end of each line.
    wrapped = "\n".join(
        fill(line, console.width, initial_indent=indent, subsequent_indent=hang)
        for line in text.split("\n")
    )
    console.print(Text(wrapped, style=style), soft_wrap=True)
