"""A bar on stderr for the cells of a sweep, with the time that is left."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)

from verify.reports.console import error_console


@contextmanager
def cells_bar(everything: int, done: int) -> Iterator[Callable[[], None]]:
    """Leaves no line behind. What it gives is called for each new cell."""
    with Progress(
        TextColumn("cells"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        TextColumn("left"),
        # Over all cells so far: some take much longer than others.
        TimeRemainingColumn(),
        console=error_console(),
        transient=True,
        speed_estimate_period=3600,
    ) as shown:
        task = shown.add_task("", total=everything, completed=done)
        yield lambda: shown.advance(task)
