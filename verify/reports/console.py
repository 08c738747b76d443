"""Where answers are printed: stdout, wrapped to the terminal's width."""

from __future__ import annotations

from textwrap import fill

from rich.console import Console
from rich.text import Text


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Left to the command line, which knows the exit status; rich would exit with 1."""
        raise BrokenPipeError


def output_console() -> Console:
    """Stdout."""
    return _Console(highlight=False, soft_wrap=False)


def say(console: Console, text: str, style: str = "", *, indent: str = "", hang: str = "") -> None:
    """Text, each of its lines wrapped: the first one after ``indent``, the rest after ``hang``."""
    # Wrapped here: rich would leave a blank at the end of each line.
    wrapped = "\n".join(
        fill(line, console.width, initial_indent=indent, subsequent_indent=hang)
        for line in text.split("\n")
    )
    console.print(Text(wrapped, style=style), soft_wrap=True)
