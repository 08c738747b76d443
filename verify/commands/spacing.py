"""Command ``spacing``: how close together may presses come?"""

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
@click.option("--pairs", is_flag=True, help="Also the least time for every ordered pair of inputs.")
@resume_option
@question
def spacing(file: str, engine: EngineName, seconds: float, as_json: bool, pairs: bool) -> int:
    """How close together may presses come?

    The least safe spacing over all inputs, with a failing trace one tick below it. The
    file's own `spacing` is left aside; its other bounds on the operator stand.

    Example: fewwire spacing carillon.toml --pairs
    """
    from verify.questions.pairs import least_pairs
    from verify.questions.spacing import least_spacing

    with watched() as progress:
        subject = subject_of(file)
        budget = budget_of(seconds)
        found = least_spacing(subject, engine, progress, budget)
        matrix = None
        if pairs and found.ticks is not None:
            matrix = least_pairs(subject, engine, progress, found.ticks, budget)
    if as_json:
        from verify.reports.as_json import spacing_json

        print_json(spacing_json(subject.link, found, matrix, pairs))
    else:
        from verify.reports.terminal import show_spacing

        show_spacing(subject, found, matrix)
    status = STATUS[found.verdict.value]
    return max(status, STATUS[matrix.verdict.value]) if matrix is not None else status
