"""Command ``sweep``: one question of many variants of a link."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from verify.commands.shared import (
    INTERRUPTED,
    STATUS,
    fail,
    guarded,
    jobs_option,
    json_option,
    print_json,
    time_option,
)
from verify.errors import UsageError

if TYPE_CHECKING:
    from verify.sweeps.cells import Result
    from verify.sweeps.file import Sweep
    from verify.sweeps.journal import Journal


@click.command()
@click.argument("file", type=click.Path(), metavar="SWEEP")
@click.option(
    "-o",
    "--output",
    type=click.Path(),
    required=True,
    metavar="TABLE",
    help="Where the table goes: a name that ends in .csv or .parquet.",
)
@click.option(
    "--pictures",
    type=click.Path(),
    metavar="DIR",
    help="Also pictures of the table, as PNG and SVG.",
)
@click.option("--force", is_flag=True, help="Overwrite files that are there.")
@jobs_option
@click.option(
    "--dask", metavar="ADDRESS", help="Work on a Dask cluster; the address of its scheduler."
)
@time_option("Work on each cell no longer than this (over the file's `time`).")
@json_option
@guarded
def sweep(
    file: str,
    output: str,
    pictures: str | None,
    force: bool,
    jobs: int | None,
    dask: str | None,
    seconds: float,
    as_json: bool,
) -> int:
    """How do answers change over a grid of values? One question, many links, one table.

    SWEEP names a link file, a question, and values for any of the link file's keys. What is
    found is kept in TABLE.journal at once: after a crash or Ctrl-C the same command goes on
    where it was.

    Exit status: 0 every cell has its answer, whatever it is; 2 bad usage or bad file; 3 some
    cell is undecided.

    Example: fewwire sweep carillon_pulses.toml -o pulses.csv
    """
    if jobs is not None and dask is not None:
        raise UsageError("--jobs: found --dask as well; allowed: one of the two")
    from verify.files import check_apart, write_whole
    from verify.sweeps.cells import check_links
    from verify.sweeps.file import load_sweep
    from verify.sweeps.journal import Journal
    from verify.sweeps.table import check_table, table

    check_table(output)
    journal = f"{output}.journal"
    check_apart(file, output, journal)
    asked = load_sweep(file)
    if click.get_current_context().get_parameter_source("seconds") is not ParameterSource.DEFAULT:
        asked = replace(asked, seconds=seconds)
    link = check_links(asked, file)
    _prepare(asked, output, pictures, dask, force)
    with Journal(journal, asked) as kept:
        _spare(output, table(asked, kept.done, output), force)
        _run(asked, kept, jobs, dask)
        done = dict(kept.done)
    write_whole(output, table(asked, done, output), overwrite=True)
    written = [output]
    if pictures is not None:
        from verify.reports.sweep_pictures import write

        written += write(pictures, asked, link, done)
    if as_json:
        from verify.reports.sweep_answer import sweep_json

        print_json(sweep_json(asked, done, output, written[1:]))
    else:
        from verify.reports.sweep_answer import show_sweep

        show_sweep(asked, done)
        click.echo(f"wrote {', '.join(written)}", err=True)
    from verify.reports.sweep_answer import verdict

    return STATUS[verdict(done).value]


def _prepare(
    asked: Sweep, output: str, pictures: str | None, dask: str | None, force: bool
) -> None:
    """See that all is there that the work's end needs, before the work."""
    from verify.files import check_writable

    # Where the journal is there, what is in it says whether the table may be made again.
    check_writable(output, overwrite=force or os.path.lexists(f"{output}.journal"))
    check_writable(f"{output}.journal", overwrite=True)
    if pictures is not None:
        from verify.reports.sweep_pictures import prepare

        prepare(pictures, asked, overwrite=force)
    if dask is not None:
        from verify.sweeps.running import check_dask

        check_dask(dask)


def _spare(output: str, known: bytes, force: bool) -> None:
    """Raise UsageError for a file in the table's place, unless it is what would be written."""
    if force or not os.path.lexists(output):
        return
    from verify.files import check_writable

    with open(output, "rb") as stream:
        if stream.read() != known:
            check_writable(output)


def _run(asked: Sweep, kept: Journal, jobs: int | None, dask: str | None) -> None:
    from verify.questions.workers import processors
    from verify.sweeps.running import run, run_on_dask

    left = [number for number in range(1, asked.cells + 1) if number not in kept.done]
    if not left:
        return
    with _watched(asked, kept) as told:
        if dask is not None:
            run_on_dask(asked, left, dask, told)
        else:
            run(asked, left, jobs or processors(), told)


@contextmanager
def _watched(asked: Sweep, kept: Journal) -> Iterator[Callable[[Result], None]]:
    """Each result goes into the journal; a bar on a terminal's stderr shows how many there are."""
    bar: Callable[[], None] | None = None

    def told(result: Result) -> None:
        kept.add(result)
        if bar is not None:
            bar()

    try:
        if not sys.stderr.isatty():
            yield told
            return
        from verify.reports.sweep_progress import cells_bar

        with cells_bar(asked.cells, len(kept.done)) as bar:
            yield told
    except KeyboardInterrupt:
        fail(
            f"interrupted; {len(kept.done)} of {asked.cells} cells are in {kept.path}, and the "
            "same command goes on from there",
            INTERRUPTED,
        )
