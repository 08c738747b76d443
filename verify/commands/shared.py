"""What all commands share: exit status, errors as one line, progress, the options of questions."""

from __future__ import annotations

import io
import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import TYPE_CHECKING, Any, NoReturn, ParamSpec, TypeVar

import click

from verify.errors import FewwireError, ModelError

if TYPE_CHECKING:
    from verify.design.trail import Trail
    from verify.engines.answer import Budget, Progress
    from verify.questions.judging import Subject

P = ParamSpec("P")
F = TypeVar("F", bound=Callable[..., Any])

HOLDS, FAILS, BAD, UNDECIDED, INTERRUPTED, PIPE_CLOSED = 0, 1, 2, 3, 130, 141
STATUS = {"holds": HOLDS, "fails": FAILS, "undecided": UNDECIDED}


def guarded(command: Callable[P, int]) -> Callable[P, None]:
    """Exit with the command's status; errors become one line on stderr."""

    @wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> None:
        if isinstance(sys.stdout, io.TextIOWrapper):
            # A name that the terminal cannot show is better escaped than nothing at all.
            sys.stdout.reconfigure(errors="backslashreplace")
        if quiet():
            kwargs["as_json"] = True
        try:
            status = command(*args, **kwargs)
            if sys.stdout is not None:
                sys.stdout.flush()
        except FewwireError as error:
            if error.exit_code != UNDECIDED or not kwargs.get("as_json"):
                # What a machine does in some state names itself, not where it is written.
                place = (
                    f"{kwargs['file']}: "
                    if isinstance(error, ModelError) and "file" in kwargs
                    else ""
                )
                fail(f"{place}{error}", error.exit_code)
            status = _cut_short(getattr(error, "covered", str(error)))
        except MemoryError:
            if not kwargs.get("as_json"):
                fail(f"memory: found none left; allowed: {_LESS}", UNDECIDED)
            status = _cut_short(f"nothing: no memory was left; allowed: {_LESS}")
        except BrokenPipeError:
            # The reader has gone and wants no more: end as the shell expects of a pipe.
            _drop_output()
            status = PIPE_CLOSED
        except OSError as error:
            if (told := _blamed(error)) is not None:
                fail(told, BAD)
            _drop_output()
            fail(f"output: found {error.strerror or error}; allowed: a place to write to", BAD)
        except Exception as error:
            if (told := _blamed(error)) is None:
                raise
            fail(told, BAD)
        sys.exit(status)

    return run


def _blamed(error: Exception) -> str | None:
    """What to say of an error in a Python file that a link file names; None of any other."""
    from verify.allowed_code import blamed_line

    return blamed_line(error)


_LESS = "a smaller question, or more memory"


def _cut_short(covered: str) -> int:
    """The answer of a command that was ended where it had none yet."""
    from verify.engines import alarm

    alarm.turn_off()
    context = click.get_current_context()
    progress = context.meta.get(_PROGRESS)
    if progress is not None and progress.states:
        covered = f"{covered}; until then {progress}"
    print_json(
        {
            "question": context.info_name,
            "name": context.meta.get(_NAME),
            "verdict": "undecided",
            "covered": covered,
        }
    )
    return UNDECIDED


def _drop_output() -> None:
    """What could not be written is not tried again at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def fail(message: str, status: int) -> NoReturn:
    """One line on stderr, and the exit status."""
    click.echo(f"fewwire: {message}", err=True)
    sys.exit(status)


@contextmanager
def watched(progress: Progress | None = None) -> Iterator[Progress]:
    """A search's progress: shown on a terminal's stderr, and told when interrupted."""
    if progress is None:
        from verify.engines.answer import Progress

        progress = Progress()
    context = click.get_current_context(silent=True)
    if context is not None:
        context.meta[_PROGRESS] = progress
    try:
        if sys.stderr.isatty():
            from verify.reports.terminal import live

            with live(progress):
                yield progress
        else:
            yield progress
    except KeyboardInterrupt:
        fail(f"interrupted; {progress}", INTERRUPTED)
    finally:
        from verify.engines import alarm

        alarm.turn_off()


def time_option(help_text: str) -> Callable[[F], F]:
    """``--time``: seconds of work, as ``seconds``; and ``--memory``, which is set at once."""

    def decorate(command: F) -> F:
        command = click.option(
            "--memory",
            type=click.IntRange(min=64),
            default=4000,
            show_default=True,
            metavar="MEGABYTES",
            expose_value=False,
            callback=_allow_memory,
            help="Take no more memory than this; what is then open is undecided.",
        )(command)
        return click.option(
            "--time",
            "seconds",
            type=click.FloatRange(min=0, min_open=True),
            default=60.0,
            show_default=True,
            metavar="SECONDS",
            help=help_text,
        )(command)

    return decorate


def _allow_memory(_: click.Context, __: click.Parameter, value: int) -> None:
    from verify.engines.memory import allow

    allow(value)


_QUIET, _BUDGET, _KEPT = "fewwire.quiet", "fewwire.budget", "fewwire.kept"
# Of what is under way: how far it is, and the name of its link.
_PROGRESS, _NAME = "fewwire.progress", "fewwire.name"


def quiet() -> bool:
    """``--quiet`` was given: the command answers as for ``--json``, and one line is shown of it."""
    context = click.get_current_context(silent=True)
    return context is not None and bool(context.meta.get(_QUIET))


def _be_quiet(context: click.Context, _: click.Parameter, value: bool) -> None:
    context.meta[_QUIET] = value


def jobs_option(command: F) -> F:
    """``--jobs``: how many processes work, None for one per processor."""
    return click.option(
        "--jobs",
        type=click.IntRange(min=1),
        metavar="JOBS",
        help="Processes at work; default: one per processor.",
    )(command)


def json_option(command: F) -> F:
    """``--json``, as ``as_json``, and ``--quiet``."""
    for decorate in (
        click.option(
            "-q",
            "--quiet",
            is_flag=True,
            expose_value=False,
            callback=_be_quiet,
            help="One line: the verdict, and the answer's figures.",
        ),
        click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout, no more."),
    ):
        command = decorate(command)
    return command


def question(command: Callable[..., int]) -> Callable[..., None]:
    """The argument and options that all questions share."""
    for decorate in (
        json_option,
        time_option("Work no longer than this; what is then open is undecided."),
        click.option(
            "--engine",
            type=click.Choice(["auto", "explorer", "zones", "solver", "simulator"]),
            default="auto",
            show_default=True,
            help="Who answers; the simulator can find failures but prove nothing.",
        ),
        click.argument("file", type=click.Path()),
    ):
        command = decorate(command)
    return guarded(command)


def resume_option(command: F) -> F:
    """``--resume``: what is decided is kept in a file, by ``resume`` and until the end."""
    return click.option(
        "--resume",
        type=click.Path(),
        metavar="KEPT",
        expose_value=False,
        callback=_resume,
        help="Keep in this file what is decided, and go on from what is there.",
    )(command)


def _resume(context: click.Context, _: click.Parameter, value: str | None) -> None:
    context.meta[_KEPT] = value


def resume(about: str, text: Callable[[], str], *others: str) -> None:
    """``--resume``, if it was given: keep what is decided about this until the end. ``about``:
    what ``text`` tells apart from others; ``others``: files that are not to be written over."""
    context = click.get_current_context(silent=True)
    path: str | None = None if context is None else context.meta.get(_KEPT)
    if context is None or path is None:
        return
    from verify.files import check_apart
    from verify.questions.kept import ROWS, keeping

    for other in others:
        check_apart(other, path, path + ROWS)
    meaning = text()
    if _WITH_CODE in meaning:
        about = f"{about} or Python file"
    kept = context.with_resource(keeping(path, meaning, about))
    if kept.told:
        click.echo(f"resumed {path}: {kept.told}", err=True)


@contextmanager
def kept_tables(path: str | None, about: dict[str, Any], output: str | None) -> Iterator[Trail]:
    """``--resume`` of a design, which ``about`` describes: where its searches are kept, and what
    engines decide on the way."""
    from verify.design.trail import Trail

    if path is None:
        yield Trail()
        return
    from verify.files import check_apart
    from verify.questions.kept import keeping

    if output is not None:
        check_apart(output, path)
    with keeping(path, json.dumps(about, sort_keys=True), "design") as kept:
        trail = Trail(kept.tables, kept.keep_tables)
        if kept.resumed or kept.tables:
            under_way = f", {trail.told}" if kept.tables else ""
            click.echo(f"resumed {path}: {kept.resumed} answers of engines{under_way}", err=True)
        try:
            yield trail
        finally:
            trail.save()


_WITH_CODE = "\0"  # no link file has it in its text


def meaning_of(file: str) -> str:
    """What tells a link file apart from others: its text, and the Python file that it names."""
    from pathlib import Path

    from verify.allowed_code import digest_named
    from verify.linkfile import read, toml_of

    text, shown, _ = read(file)
    code = digest_named(toml_of(text, shown), Path(file).parent)
    return text if code is None else f"{text}{_WITH_CODE}{code}"


def input_names(ctx: click.Context, _: click.Parameter, incomplete: str) -> list[str]:
    """For a shell: the inputs of the link file that the command line has so far."""
    from verify.linkfile import load

    # While an option lacks its values, click leaves what came before them unread.
    file = ctx.params.get("file") or next(iter(ctx.args), "")
    try:
        names = load(file).names
    except FewwireError:
        return []
    return [name for name in names if name.startswith(incomplete)]


def subject_of(file: str, *others: str) -> Subject:
    """The link of a file, made ready to be asked. ``others``: as for ``resume``."""
    from verify.linkfile import load
    from verify.questions.judging import Subject

    context = click.get_current_context(silent=True)
    seconds = None if context is None else context.params.get("seconds")
    resume("link file", lambda: meaning_of(file), file, *others)
    budget = budget_of(seconds)  # reading the file takes time, too
    link = load(file)
    if context is not None:
        context.meta[_NAME] = link.name
    return Subject(link, budget=budget)


def budget_of(seconds: float | None) -> Budget:
    """``--time`` as a budget: one for all the work of a command, from the first time on."""
    from verify.engines.answer import Budget

    context = click.get_current_context(silent=True)
    if context is None:
        return Budget(seconds)
    if _BUDGET not in context.meta:
        context.meta[_BUDGET] = Budget(seconds)
        if seconds is not None:
            from verify.engines import alarm

            alarm.set_off(seconds)
            context.call_on_close(alarm.turn_off)
    budget: Budget = context.meta[_BUDGET]
    return budget


def print_json(found: dict[str, Any]) -> None:
    """One object on stdout, to its end; with ``--quiet`` one line of it."""
    from verify.engines import alarm

    alarm.turn_off()
    if quiet():
        from verify.reports.quiet import quiet_line

        click.echo(quiet_line(found))
        return
    click.echo(json.dumps(found, indent=2, ensure_ascii=False))
