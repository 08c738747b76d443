"""Command ``latency``: how long from press to strike?"""

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
@click.option("--traces", is_flag=True, help="Also a run that shows each extreme.")
@resume_option
@question
def latency(file: str, engine: EngineName, seconds: float, as_json: bool, traces: bool) -> int:
    """How long from press to strike, best and worst, for each input?

    Over every sequence that the file's operator allows and that comes out right.

    Example: fewwire latency carillon.toml
    """
    from verify.questions.latency import latencies

    with watched() as progress:
        subject = subject_of(file)
        found = latencies(subject, engine, progress, budget_of(seconds), traces=traces)
    if as_json:
        from verify.reports.as_json import latency_json

        print_json(latency_json(subject.link, found, traces))
    else:
        from verify.reports.terminal import show_latency

        show_latency(subject, found, traces)
    return STATUS[found.verdict.value]
