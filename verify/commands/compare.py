"""Command ``compare``: which scheme should I build?"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from verify.commands.shared import (
    HOLDS,
    INTERRUPTED,
    UNDECIDED,
    budget_of,
    fail,
    guarded,
    jobs_option,
    json_option,
    meaning_of,
    print_json,
    resume,
    resume_option,
    time_option,
)
from verify.errors import UsageError

if TYPE_CHECKING:
    from verify.parts.link import Link


# Seconds in which workers that are late come to their end.
_ENDING = 3.0


@click.command()
@click.argument("files", nargs=-1, type=click.Path(), metavar="[FILE]...")
@click.option(
    "--inputs",
    type=click.IntRange(1, 1000),
    metavar="N",
    help="No files: every scheme for N inputs, as fast as it goes.",
)
@click.option("--tick", metavar="T", help='With --inputs: length of a tick, like "100 ms".')
@click.option(
    "--kind",
    type=click.Choice(["press", "level"]),
    help="With --inputs: only the schemes for this kind of input, and all of them.",
)
@click.option("--csv", "csv_file", type=click.Path(), metavar="CSV", help="Also the table as CSV.")
@click.option(
    "--curves",
    type=click.Path(),
    metavar="DIR",
    help="With --inputs: also curves over 2 to 64 inputs, as CSV, PNG and SVG.",
)
@click.option("--force", is_flag=True, help="Overwrite files that are there.")
@jobs_option
@resume_option
@time_option("Work no longer than this; what is then open is undecided.")
@json_option
@guarded
def compare(
    files: tuple[str, ...],
    inputs: int | None,
    tick: str | None,
    kind: str | None,
    csv_file: str | None,
    curves: str | None,
    force: bool,
    jobs: int | None,
    seconds: float,
    as_json: bool,
) -> int:
    """Which one should I build? Links, or all schemes for N inputs, side by side.

    One table: lines, latency, least spacing, rate, and what breaks each. Every figure is
    asked of the model as the other commands do.

    Example: fewwire compare carillon.toml puppet_theatre.toml
    """
    budget = budget_of(seconds)
    links = _links(files, inputs, tick, kind, curves)
    from verify.files import check_writable

    written = [csv_file] if csv_file else []
    for path in written:
        check_writable(path, overwrite=force)
    if curves is not None:
        from verify.reports.curves import FILES, prepare

        prepare(curves, overwrite=force)
        written += [os.path.join(curves, name) for name in FILES]
    resume("comparison", lambda: _compared(files, inputs, tick, kind), *files, *written)

    from verify.engines import alarm
    from verify.questions.compare import compare as rows_of
    from verify.questions.compare import is_open, number_of_cells
    from verify.questions.growth import CURVES, curve_links
    from verify.questions.workers import processors

    many = jobs or processors()
    grown = curve_links(tick or "", kind) if curves is not None else []
    alarm.later((budget.left() or 0.0) + _ENDING)
    everything = number_of_cells(links.links) + number_of_cells(grown, CURVES)
    with _watched(everything) as told:
        rows = rows_of(links.links, budget, jobs=many, told=told)
        curve_rows = rows_of(grown, budget, columns=CURVES, jobs=many, told=told)
    from verify.files import write_whole
    from verify.reports.comparison_data import comparison_csv, comparison_json

    if csv_file is not None:
        write_whole(csv_file, comparison_csv(rows), overwrite=force)
    if curves is not None:
        from verify.reports.curves import write

        write(curves, curve_rows, inputs, overwrite=force)
        click.echo(f"wrote {', '.join(FILES)} in {curves}", err=True)
    if as_json:
        print_json(comparison_json(rows, links.files, links.texts))
    else:
        from verify.reports.comparison import show_comparison

        show_comparison(rows, links.settings, links.title)
    return UNDECIDED if any(map(is_open, (*rows, *curve_rows))) else HOLDS


@dataclass(frozen=True)
class _Links:
    """What is compared; of each link, its file, or the text of one, and its settings in words."""

    title: str
    links: list[Link]
    files: list[str | None]
    texts: list[str | None]
    settings: list[str]


def _links(
    files: tuple[str, ...],
    inputs: int | None,
    tick: str | None,
    kind: str | None,
    curves: str | None,
) -> _Links:
    if inputs is None:
        for option, value in (("--tick", tick), ("--kind", kind), ("--curves", curves)):
            if value is not None:
                raise UsageError(f"{option}: found no --inputs beside it; allowed: with --inputs")
        if not files:
            raise UsageError(
                "compare: found nothing to compare; allowed: link files, or --inputs N --tick T"
            )
        from verify.linkfile import load

        links = [load(file) for file in files]
        noun = "link" if len(links) == 1 else "links"
        return _Links(f"{len(links)} {noun}", links, [*files], [None] * len(links), [])
    if files:
        raise UsageError("--inputs: found link files as well; allowed: one of the two")
    if tick is None:
        raise UsageError('--tick: found nothing; allowed: a duration above 0, like "50 ms"')
    from verify import fastest

    schemes = fastest.schemes_for(kind)
    texts = [fastest.link_file(scheme, inputs, tick, kind) for scheme in schemes]
    return _Links(
        f"{inputs} {'input' if inputs == 1 else 'inputs'}, tick {tick.strip()}: "
        "every scheme as fast as it goes",
        [fastest.fastest(scheme, inputs, tick, kind) for scheme in schemes],
        [None] * len(schemes),
        [*texts],
        [words for scheme in schemes if (words := fastest.settings_words(scheme, inputs))],
    )


def _compared(
    files: tuple[str, ...], inputs: int | None, tick: str | None, kind: str | None
) -> str:
    """What tells a comparison apart from others; curves are of the same."""
    return json.dumps([[*map(meaning_of, files)], inputs, tick, kind])


@contextmanager
def _watched(everything: int) -> Iterator[Callable[[int], None]]:
    """A bar on a terminal's stderr; told how many more answers there are."""
    done = 0
    bar: Callable[[int], None] | None = None

    def told(cells: int) -> None:
        nonlocal done
        done += cells
        if bar is not None:
            bar(cells)

    try:
        if not sys.stderr.isatty():
            yield told
            return
        from verify.reports.progress import answers_bar

        with answers_bar(everything) as bar:
            yield told
    except KeyboardInterrupt:
        fail(f"interrupted; {done} of {everything} answers were there", INTERRUPTED)
