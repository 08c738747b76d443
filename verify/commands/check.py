"""Command ``check``: does every press come out right?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from verify.commands.shared import STATUS, budget_of, print_json, question, subject_of, watched

if TYPE_CHECKING:
    from verify.questions.judging import EngineName


@click.command()
@question
def check(file: str, engine: EngineName, seconds: float, as_json: bool) -> int:
    """Does every press come out right, and nothing else?

    A proof for press sequences of any length, or the shortest sequence that breaks
    the link, as a picture in time.

    Example: fewwire check carillon.toml
    """
    from verify.questions.judging import judge

    with watched() as progress:
        subject = subject_of(file)
        judged = judge(subject, engine, progress, budget=budget_of(seconds))
    if as_json:
        from verify.reports.as_json import check_json

        print_json(check_json(subject.link, judged))
    else:
        from verify.reports.terminal import show_check

        show_check(subject, judged)
    return STATUS[judged.verdict.value]
