"""Command ``fuzz``: does an end that we cannot see into do its part?"""

from __future__ import annotations

import os
import shlex
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import TYPE_CHECKING

import click

from verify.commands.shared import (
    STATUS,
    budget_of,
    guarded,
    json_option,
    print_json,
    resume_option,
    subject_of,
    time_option,
    watched,
)
from verify.errors import UsageError

if TYPE_CHECKING:
    from verify.fuzzing.bench import Bench
    from verify.fuzzing.opening import Setting
    from verify.parts.foreign import ForeignEnd
    from verify.questions.fuzz import Fuzzed


@click.command()
@click.option("--receiver", "end", flag_value="receiver", help="The target is the receiver.")
@click.option("--transmitter", "end", flag_value="transmitter", help="It is the transmitter.")
@click.option(
    "--branch",
    type=click.IntRange(1),
    default=1,
    show_default=True,
    metavar="N",
    help="The branch of the line that the receiver is on.",
)
@click.option("--command", metavar="COMMAND", help="A program that talks lines of CSV.")
@click.option(
    "--callable",
    "name",
    metavar="MODULE:NAME",
    help="A Python class or function; needs --allow-code.",
)
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True)
@click.option("--runs", type=click.IntRange(1), default=200, show_default=True)
@click.option(
    "--presses",
    type=click.IntRange(1, 1000),
    default=12,
    show_default=True,
    metavar="N",
    help="Most presses, or moves, of a sequence.",
)
@click.option(
    "--patience",
    type=click.FloatRange(min=0, min_open=True),
    default=2.0,
    show_default=True,
    metavar="SECONDS",
    help="Longest wait for a line of the target.",
)
@click.option("--fresh", is_flag=True, help="With --command: a new process for every sequence.")
@click.option(
    "-o", "--out", type=click.Path(), help="The failing run as a file: .csv, .vcd, .json, ..."
)
@click.option(
    "--pytest", "test_file", type=click.Path(), help="The failing sequence as a pytest file."
)
@click.option("--force", is_flag=True, help="Overwrite files that are there.")
@resume_option
@time_option("Search and shrink no longer than this.")
@json_option
@click.argument("file", type=click.Path())
@guarded
def fuzz(
    file: str,
    end: ForeignEnd | None,
    branch: int,
    command: str | None,
    name: str | None,
    seed: int,
    runs: int,
    presses: int,
    patience: float,
    fresh: bool,
    out: str | None,
    test_file: str | None,
    force: bool,
    seconds: float,
    as_json: bool,
) -> int:
    """Does a receiver or transmitter that we cannot see into do its part?

    The target is one end of the link, a program or a Python object; the model is the other, and
    sequences that the operator allows are tried. What comes out wrong is judged as by `check`,
    and shrunk to the smallest sequence. How the target talks: `fewwire manual fuzz`.

    Exit status: 1 a failure was found, 3 none was (never 0: it proves nothing).

    Example: fewwire fuzz carillon.toml --receiver --command cat
    """
    setting = _setting(end, branch - 1, command, name, patience, fresh)
    files = [path for path in (out, test_file) if path is not None]
    _check_files(file, out, files, force)
    from verify.engines.alarm import turn_off
    from verify.fuzzing.bench import Bench
    from verify.questions.fuzz import Tried
    from verify.questions.fuzz import fuzz as searched
    from verify.questions.kept_batches import KeptBatches

    with _told_to_end(), watched(Tried()) as progress:
        subject = subject_of(file, *files)
        turn_off()  # the target has alarms of its own
        target = setting.open(subject.link)
        try:
            bench = Bench(subject, setting.end, target, setting.branch)
            found = searched(
                *(bench, runs, presses, seed, budget_of(seconds), progress),
                KeptBatches(setting, seed, presses),
            )
        finally:
            target.close()
    _write(bench, found, setting, file, out, test_file, force)
    from verify.reports.fuzzing import fuzz_json, show_fuzzed

    if as_json:
        print_json(fuzz_json(bench, setting.words, found))
    else:
        show_fuzzed(bench, setting.words, found)
    return STATUS[found.verdict.value]


class _Ended(BaseException):
    """Not to be taken for an error on the way."""


@contextmanager
def _told_to_end() -> Iterator[None]:
    """Told to end, the target is ended first."""
    known = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]

    def end(number: int, _: FrameType | None) -> None:
        raise _Ended(number)

    before = {number: signal.signal(number, end) for number in known}
    try:
        yield
    except _Ended as ended:
        sys.exit(128 + ended.args[0])
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _setting(
    end: ForeignEnd | None,
    branch: int,
    command: str | None,
    name: str | None,
    patience: float,
    fresh: bool,
) -> Setting:
    from verify.allowed_code import is_allowed
    from verify.fuzzing.opening import Setting

    if end is None:
        raise UsageError(
            "fuzz: found no end that the target is; allowed: --receiver or --transmitter"
        )
    if (command is None) == (name is None):
        found = "no target" if command is None else "two targets"
        raise UsageError(f"fuzz: found {found}; allowed: --command or --callable")
    if name is not None:
        if not is_allowed():
            raise UsageError(
                f'--callable: found "{name}", Python code that would be run; allowed: with '
                "--allow-code, for code that you trust"
            )
        if fresh:
            raise UsageError("--fresh: found with --callable; allowed: with --command")
        return Setting(end, (), name, patience, False, os.getcwd(), branch)
    try:
        words = shlex.split(command or "")
    except ValueError as error:
        reason = str(error).lower()
        raise UsageError(f"--command: found {reason}; allowed: a command line") from None
    if not words:
        raise UsageError("--command: found nothing; allowed: a command line")
    return Setting(end, tuple(words), "", patience, fresh, os.getcwd(), branch)


def _check_files(file: str, out: str | None, files: list[str], force: bool) -> None:
    from verify.files import check_apart, check_writable
    from verify.recordings.formats import ending_of

    if out is not None:
        ending_of(out)
    check_apart(file, *files)
    for path in files:
        check_writable(path, overwrite=force)


def _write(
    bench: Bench,
    found: Fuzzed,
    setting: Setting,
    file: str,
    out: str | None,
    test_file: str | None,
    force: bool,
) -> None:
    """The files that were asked for, if there is a failure to write of."""
    if found.outcome is None:
        for path in (out, test_file):
            if path is not None:
                click.echo(f"nothing to write to {path}", err=True)
        return
    from verify.files import write_whole
    from verify.fuzzing.sequences import test_text
    from verify.recordings.formats import ending_of
    from verify.reports.fuzzing import sentence
    from verify.reports.run_files import run_text

    if out is not None:
        windows = bench.windows if bench.link.kind == "press" else None
        write_whole(
            out,
            run_text(found.outcome.trace, bench.link, windows, ending_of(out)),
            overwrite=force,
        )
        click.echo(f"wrote {out}", err=True)
    if test_file is not None:
        text = test_text(file, setting, found.outcome.script, sentence(bench, found))
        write_whole(test_file, text, overwrite=force)
        click.echo(f"wrote {test_file}; next: pytest {test_file}", err=True)
