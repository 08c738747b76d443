"""CPU seconds, tables as Markdown and CSV, and what they were measured on."""

from __future__ import annotations

import csv
import gc
import io
import platform
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from time import process_time
from typing import TypeVar

import click

from verify.files import prepare_folder

T = TypeVar("T")

REPORTS = Path(__file__).parent.parent.parent / "reports"
# Work that takes less than this in all is measured again, up to so many times in all.
ENOUGH, MOST_ROUNDS = 0.3, 15


def _made(_: click.Context, __: click.Parameter, folder: Path) -> Path:
    prepare_folder(str(folder), (), overwrite=True)
    return folder


out_option = click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=REPORTS,
    callback=_made,
    help="Folder to write to.",
)
"""``--out``: made before the work, not missed after it."""


def cpu(work: Callable[[], T]) -> tuple[float, T]:
    """CPU seconds of this process for one piece of work, and its result."""
    started = process_time()
    result = work()
    return process_time() - started, result


def least_cpu(works: Sequence[Callable[[], T]]) -> list[tuple[float, T]]:
    """The least CPU seconds of several rounds of each of these, which take turns."""
    gc.collect()
    best = [cpu(work) for work in works]
    spent, rounds = sum(seconds for seconds, _ in best), 1
    while spent < ENOUGH and rounds < MOST_ROUNDS:
        again = [cpu(work) for work in works]
        best = [min(a, b, key=lambda one: one[0]) for a, b in zip(best, again, strict=True)]
        spent += sum(seconds for seconds, _ in again)
        rounds += 1
    return best


def measured_on() -> str:
    """The machine, the versions that matter, and the date."""
    uname = platform.uname()
    return (
        f"Measured on {datetime.now(UTC).date().isoformat()}, {_processor()}, {uname.system} "
        f"{uname.machine}, Python {platform.python_version()}, z3 {version('z3-solver')}. "
        "CPU time of one process, imports left out."
    )


def _processor() -> str:
    """What the processor calls itself, where it does."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text().splitlines() if info.exists() else []
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return f"{names[0]} ({len(names)} cores)" if names else platform.processor() or "unknown"


def markdown(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; all columns but the first to the right."""
    under = ["---", *("---:" for _ in head[1:])]
    return "".join(f"| {' | '.join(row)} |\n" for row in (head, under, *rows))


def as_csv(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The same as CSV (RFC 4180), None as nothing."""
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(head)
    table.writerows(rows)
    return text.getvalue()


def seconds_text(seconds: float) -> str:
    """Three digits."""
    return f"{seconds:.3g}" if seconds < 1000 else f"{seconds:.0f}"
