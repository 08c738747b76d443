"""A bar on stderr for work of a known number of pieces."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from verify.reports.console import error_console


@contextmanager
def answers_bar(everything: int) -> Iterator[Callable[[int], None]]:
    """Leaves no line behind. What it gives is called with the number of new answers."""
    with Progress(
        TextColumn("answers"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=error_console(),
        transient=True,
    ) as shown:
        task = shown.add_task("", total=everything)
        yield lambda cells: shown.advance(task, cells)
