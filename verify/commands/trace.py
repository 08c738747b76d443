"""Command ``trace``: a run of a link as a file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from verify.commands.shared import (
    FAILS,
    HOLDS,
    STATUS,
    budget_of,
    print_json,
    question,
    resume_option,
    subject_of,
    watched,
)

if TYPE_CHECKING:
    from verify.engines.trace import Trace
    from verify.questions.engine_choice import EngineName
    from verify.questions.judging import Judgement, Subject


@click.command()
@click.option(
    "--out",
    "-o",
    type=click.Path(),
    required=True,
    help="The file to write: .vcd, .csv, .json, .svg or .txt.",
)
@click.option(
    "--presses",
    type=click.Path(),
    metavar="PRESSES.csv",
    help="The run of these presses, each at its tick or time, instead of the counterexample.",
)
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@click.option(
    "--inside",
    is_flag=True,
    help="Show the modes and timers of the machines in a .txt, as every .svg does.",
)
@resume_option
@question
def trace(
    file: str,
    engine: EngineName,
    seconds: float,
    as_json: bool,
    out: str,
    presses: str | None,
    force: bool,
    inside: bool,
) -> int:
    """Write a run of the link as a file, for a waveform viewer, a spreadsheet or a page.

    The run is the counterexample of `fewwire check` (exit status 1; 0 and no file if there is
    none, 3 if that is undecided), or with --presses that of a given sequence (0 if it comes out
    right, 1 if not). The ending of the name says how: .vcd (IEEE 1364), .csv, .json; .svg and
    .txt are pictures.

    Example: fewwire trace puppet_theatre.toml --out moon.vcd
    """
    from verify.files import check_apart, check_writable, write_whole
    from verify.recordings.formats import ending_of

    ending = ending_of(out)
    if inside and ending not in (".txt", ".svg"):
        from verify.errors import UsageError

        raise UsageError(
            f"--inside: found {out}; allowed: a .txt, or a .svg, which always has them"
        )
    check_apart(file, out, *([] if presses is None else [presses]))
    check_writable(out, overwrite=force)
    judged: Judgement | None = None
    with watched() as progress:
        subject = subject_of(file, out, *([] if presses is None else [presses]))
        if presses is None:
            from verify.questions.judging import judge

            judged = judge(subject, engine, progress, budget=budget_of(seconds))
            found = judged.trace
        else:
            from verify.questions.playing import played

            found = played(subject, presses)
    if found is not None:
        from verify.reports.run_files import run_text

        windows = subject.windows if subject.link.kind == "press" else None
        write_whole(
            out, run_text(found, subject.link, windows, ending, inside=inside), overwrite=force
        )
        click.echo(f"wrote {out}", err=True)
    verdict = judged.verdict.value if judged is not None else _verdict(found)
    if as_json:
        print_json(_answer(subject, judged, found, verdict, out))
    else:
        _show(subject, judged, found, verdict)
    return STATUS[verdict]


def _verdict(found: Trace | None) -> str:
    status = HOLDS if found is None or found.failure is None else FAILS
    return next(word for word, value in STATUS.items() if value == status)


def _show(subject: Subject, judged: Judgement | None, found: Trace | None, verdict: str) -> None:
    """What the run shows, in a sentence; the picture is in the file."""
    if found is None:
        why = "no sequence breaks the link" if verdict == "holds" else "no failure found"
        covered = f" (by the {judged.engine}: {judged.covered})" if judged is not None else ""
        click.echo(f"{verdict}: {why}{covered}; nothing written.")
        return
    from verify.reports.finer import measured, run_notes
    from verify.reports.words import failure_sentence

    pressed = subject.link.kind == "press"
    link, windows = measured(subject.link, subject.windows if pressed else None, found.script)
    click.echo(f"{verdict}: {failure_sentence(found, link, windows)}.")
    if notes := run_notes(subject.link, found):
        click.echo(notes)


def _answer(
    subject: Subject, judged: Judgement | None, found: Trace | None, verdict: str, out: str
) -> dict[str, Any]:
    from verify.engines.answer import Verdict
    from verify.questions.judging import Judgement
    from verify.reports.as_json import check_json

    if judged is None:
        judged = Judgement(Verdict(verdict), "simulator", "the presses of a file", found)
    shown = check_json(subject.link, judged)
    return {**shown, "question": "trace", "file": out if found is not None else None}
