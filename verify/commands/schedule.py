"""Command ``schedule``: how fast can this be played?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from verify.commands.shared import (
    STATUS,
    budget_of,
    print_json,
    question,
    resume_option,
    subject_of,
    watched,
)

if TYPE_CHECKING:
    from verify.questions.engine_choice import EngineName


@click.command()
@click.option("--csv", "csv_file", type=click.Path(), metavar="CSV", help="Also as CSV.")
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@resume_option
@question
@click.argument("presses", type=click.Path())
def schedule(
    file: str,
    presses: str,
    engine: EngineName,
    seconds: float,
    as_json: bool,
    csv_file: str | None,
    force: bool,
) -> int:
    """How fast can a given sequence of presses be played?

    PRESSES is a CSV file whose first line names its columns: input (names or numbers), and if
    wanted tick or time (not before). Each press comes as early as the proved spacing of every
    two inputs (`fewwire spacing --pairs`) and the file's operator allow, in the order given;
    the file's own `spacing` is left aside. The simulator then plays it.

    Example: fewwire schedule carillon.toml carillon_tune.csv
    """
    from verify.files import check_apart, check_writable, write_whole
    from verify.pressfile import load_presses
    from verify.questions.schedule import schedule as earliest

    if csv_file is not None:
        check_apart(file, presses, csv_file)
        check_writable(csv_file, overwrite=force)
    with watched() as progress:
        subject = subject_of(file, presses, *([csv_file] if csv_file else []))
        wanted = load_presses(presses, subject.link.names, subject.link.tick)
        found = earliest(subject, wanted, engine, progress, budget_of(seconds))
    from verify.reports.schedules import schedule_csv, schedule_json, show_schedule

    if csv_file is not None and found.presses is not None:
        write_whole(csv_file, schedule_csv(subject.link, found.presses), overwrite=force)
        click.echo(f"wrote {csv_file}", err=True)
    if as_json:
        print_json(schedule_json(subject.link, found))
    else:
        show_schedule(subject, found, presses)
    return STATUS[found.verdict.value]
