"""Command ``report``: everything about a link, as a page and as Markdown."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from verify.commands.shared import HOLDS, guarded, resume_option, subject_of, time_option, watched

if TYPE_CHECKING:
    from verify.questions.engine_choice import EngineName


@click.command()
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(),
    metavar="DIR",
    help="The folder to write to; it is made if it is not there.",
)
@click.option("--force", is_flag=True, help="Overwrite files that are there.")
@click.option(
    "--engine",
    type=click.Choice(["auto", "explorer", "zones", "solver", "simulator"]),
    default="auto",
    show_default=True,
    help="Who answers; the simulator can find failures but prove nothing.",
)
@resume_option
@time_option("Work no longer than this, on each margin a sixth; what is then open is undecided.")
@click.argument("file", type=click.Path())
@guarded
def report(file: str, output: str, force: bool, engine: EngineName, seconds: float) -> int:
    """Write all there is to say about a link, for people: a page and Markdown.

    `report.html` is one file that needs no network: the verdict and its conditions, the matrix
    of spacings, latencies, margins, the runs that fail (with a slider through time), the modes
    of the receiver, and cautions. `report.md` is the same as text.

    Example: fewwire report carillon.toml -o carillon
    """
    from verify.questions.dossier import dossier
    from verify.reports.report_data import report_data
    from verify.reports.report_files import PAGE, TEXT, prepare, write

    prepare(output, overwrite=force)
    written = [os.path.join(output, name) for name in (PAGE, TEXT)]
    with watched() as progress:
        found = dossier(subject_of(file, *written), engine, progress, seconds)
    for path in write(output, report_data(found), overwrite=force):
        click.echo(f"wrote {path}", err=True)
    return HOLDS
