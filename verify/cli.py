"""The command line. Heavy things (z3, rich, pydantic) load only where a command needs them."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import TYPE_CHECKING, Any, NoReturn, ParamSpec

import click

from verify.errors import FewwireError

if TYPE_CHECKING:
    from verify.engines.answer import Budget, Progress
    from verify.questions.judging import EngineName, Subject

P = ParamSpec("P")

HOLDS, FAILS, BAD, UNDECIDED, INTERRUPTED, PIPE_CLOSED = 0, 1, 2, 3, 130, 141
STATUS = {"holds": HOLDS, "fails": FAILS, "undecided": UNDECIDED}


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="fewwire", message="%(prog)s %(version)s")
def main() -> None:
    """Find out whether a link that squeezes many controls onto few lines misfires.

    A link file says what is built; `fewwire new` writes one to start from.

    Exit status: 0 it holds, or the question was answered; 1 it fails; 2 bad usage
    or bad file; 3 undecided.
    """


def _guarded(command: Callable[P, int]) -> Callable[P, None]:
    """Exit with the command's status; errors become one line on stderr."""

    @wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            status = command(*args, **kwargs)
            if sys.stdout is not None:
                sys.stdout.flush()
        except FewwireError as error:
            _fail(str(error), error.exit_code)
        except BrokenPipeError:
            # The reader has gone and wants no more: end as the shell expects of a pipe.
            _drop_output()
            status = PIPE_CLOSED
        except OSError as error:
            _drop_output()
            _fail(f"output: found {error.strerror or error}; allowed: a place to write to", BAD)
        sys.exit(status)

    return run


def _drop_output() -> None:
    """What could not be written is not tried again at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _fail(message: str, status: int) -> NoReturn:
    click.echo(f"fewwire: {message}", err=True)
    sys.exit(status)


@contextmanager
def _watched() -> Iterator[Progress]:
    """A search's progress: shown on a terminal's stderr, and told when interrupted."""
    from verify.engines.answer import Progress

    progress = Progress()
    try:
        if sys.stderr.isatty():
            from verify.reports.terminal import live

            with live(progress):
                yield progress
        else:
            yield progress
    except KeyboardInterrupt:
        _fail(f"interrupted; {progress}", INTERRUPTED)


def _question(command: Callable[..., int]) -> Callable[..., None]:
    """The argument and options that all questions share."""
    for decorate in (
        click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout, no more."),
        click.option(
            "--time",
            "seconds",
            type=click.FloatRange(min=0, min_open=True),
            default=60.0,
            show_default=True,
            metavar="SECONDS",
            help="Work no longer than this; what is then open is undecided.",
        ),
        click.option(
            "--engine",
            type=click.Choice(["auto", "explorer", "solver", "simulator"]),
            default="auto",
            show_default=True,
            help="Who answers; the simulator can find failures but prove nothing.",
        ),
        click.argument("file", type=click.Path()),
    ):
        command = decorate(command)
    return _guarded(command)


def _subject(file: str) -> Subject:
    from verify.linkfile import load
    from verify.questions.judging import Subject

    return Subject(load(file))


def _budget(seconds: float) -> Budget:
    from verify.engines.answer import Budget

    return Budget(seconds)


def _print_json(found: dict[str, Any]) -> None:
    click.echo(json.dumps(found, indent=2, ensure_ascii=False))


@main.command()
@_question
def check(file: str, engine: EngineName, seconds: float, as_json: bool) -> int:
    """Does every press come out right, and nothing else?

    A proof for press sequences of any length, or the shortest sequence that breaks
    the link, as a picture in time.

    Example: fewwire check carillon.toml
    """
    from verify.questions.judging import judge

    with _watched() as progress:
        subject = _subject(file)
        judged = judge(subject, engine, progress, budget=_budget(seconds))
    if as_json:
        from verify.reports.as_json import check_json

        _print_json(check_json(subject.link, judged))
    else:
        from verify.reports.terminal import show_check

        show_check(subject, judged)
    return STATUS[judged.verdict.value]


@main.command()
@click.option("--pairs", is_flag=True, help="Also the least time for every ordered pair of inputs.")
@_question
def spacing(file: str, engine: EngineName, seconds: float, as_json: bool, pairs: bool) -> int:
    """How close together may presses come?

    The least safe spacing over all inputs, with a failing trace one tick below it. The
    file's own `spacing` is left aside; its other bounds on the operator stand.

    Example: fewwire spacing carillon.toml --pairs
    """
    from verify.questions.pairs import least_pairs
    from verify.questions.spacing import least_spacing

    with _watched() as progress:
        subject = _subject(file)
        budget = _budget(seconds)
        found = least_spacing(subject, engine, progress, budget)
        matrix = None
        if pairs and found.ticks is not None:
            matrix = least_pairs(subject, engine, progress, found.ticks, budget)
    if as_json:
        from verify.reports.as_json import spacing_json

        _print_json(spacing_json(subject.link, found, matrix, pairs))
    else:
        from verify.reports.terminal import show_spacing

        show_spacing(subject, found, matrix)
    status = STATUS[found.verdict.value]
    return max(status, STATUS[matrix.verdict.value]) if matrix is not None else status


@main.command()
@click.option("--traces", is_flag=True, help="Also a run that shows each extreme.")
@_question
def latency(file: str, engine: EngineName, seconds: float, as_json: bool, traces: bool) -> int:
    """How long from press to strike, best and worst, for each input?

    Over every sequence that the file's operator allows and that comes out right.

    Example: fewwire latency carillon.toml
    """
    from verify.questions.latency import latencies

    with _watched() as progress:
        subject = _subject(file)
        found = latencies(subject, engine, progress, _budget(seconds), traces=traces)
    if as_json:
        from verify.reports.as_json import latency_json

        _print_json(latency_json(subject.link, found, traces))
    else:
        from verify.reports.terminal import show_latency

        show_latency(subject, found, traces)
    return STATUS[found.verdict.value]


@main.command()
@click.option(
    "--of",
    required=True,
    type=click.Choice(["clock.offset", "line.jitter", "line.skew", "line.shortest"]),
    help="The disturbance, by its key in link files.",
)
@_question
def margin(file: str, engine: EngineName, seconds: float, as_json: bool, of: str) -> int:
    """How much of one disturbance does the link survive?

    The largest amount that still holds, with a failing trace just past it. The file's
    other disturbances stand.

    Example: fewwire margin weather_mast.toml --of line.jitter
    """
    from verify.questions.margin import margin as largest

    with _watched() as progress:
        subject = _subject(file)
        found = largest(subject.link, of, engine, progress, _budget(seconds))
    from verify.reports.as_json import margin_json

    answer = margin_json(subject.link, found)
    if as_json:
        _print_json(answer)
    else:
        from verify.reports.terminal import show_margin

        show_margin(subject, found)
    return STATUS[answer["verdict"]]


@main.command()
@click.argument("file", type=click.Path())
@_guarded
def show(file: str) -> int:
    """What was understood of a link file, and its table with the delays.

    Example: fewwire show carillon.toml
    """
    from verify.reports.terminal import show_link

    show_link(_subject(file))
    return HOLDS


@main.command()
@click.argument("file", type=click.Path(), default="-")
@click.option(
    "--scheme",
    type=click.Choice(
        [
            "pulse-gap",
            "wire-per-input",
            "parallel-code",
            "framed-serial",
            "free-scan",
            "synced-scan",
        ]
    ),
    default="pulse-gap",
    show_default=True,
)
@click.option("--inputs", type=click.IntRange(1, 1000), default=7, show_default=True, metavar="N")
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@_guarded
def new(file: str, scheme: str, inputs: int, force: bool) -> int:
    """Write a commented link file to start from, to FILE or to stdout.

    Example: fewwire new my-link.toml --inputs 5
    """
    from verify.files import write_whole
    from verify.starting_file import starting_file

    text = starting_file(scheme, inputs)
    if file == "-":
        click.echo(text, nl=False)
    else:
        write_whole(file, text, overwrite=force)
        click.echo(f"wrote {file}; next: fewwire check {file}", err=True)
    return HOLDS


if __name__ == "__main__":
    main(prog_name="fewwire")
