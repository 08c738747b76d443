"""--time ends every phase of every command, whatever the link is made of."""

from __future__ import annotations

import json
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator

from verify.cli import main
from verify.commands import check
from verify.engines import alarm, memory
from verify.engines.alarm import RungError
from verify.engines.answer import Progress
from verify.manuals import schema_of

# hypothesis is told of each garbage collection: an alarm that rings there is lost, and rings again.
pytestmark = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")

MANY, LONG = 100_000, 10**9
LEVEL = 'kind = "level"\n'


def link(inputs: str, scheme: str, rest: str = "") -> str:
    return f'tick = "1 ms"\n[inputs]\n{inputs}[link]\nscheme = "{scheme}"\n{rest}'


def many(scheme: str, rest: str = "", kind: str = "") -> str:
    return link(f"count = {MANY}\n{kind}", scheme, rest)


def few(scheme: str, rest: str = "", kind: str = "") -> str:
    return link(f"count = 3\n{kind}", scheme, rest)


GAPS = f"gaps = {list(range(2, 2 * MANY + 2, 2))}\n"
LINKS: dict[str, Callable[[], str]] = {
    "wires": lambda: many("wire-per-input"),
    "levers on wires": lambda: many("wire-per-input", kind=LEVEL),
    "gaps": lambda: many("pulse-gap", GAPS),
    "codes": lambda: many("parallel-code"),
    "frames": lambda: many("framed-serial", "bit = 4\nsample = 6\n"),
    "free scan": lambda: many("free-scan", "slot = 4\n", LEVEL),
    "drifting scan": lambda: many("free-scan", "slot = 4\n[clock]\nrate = 0.01\n", LEVEL),
    "synced scan": lambda: many("synced-scan", "slot = 4\n", LEVEL),
    "long gaps": lambda: few(
        "pulse-gap",
        f"gaps = [{LONG}, {2 * LONG}, {3 * LONG}]\nwindow = {LONG // 4}\n"
        f"[line]\ndelay = [{LONG}, {2 * LONG}]\njitter = {LONG // 8}\n",
    ),
    "long bits": lambda: few("framed-serial", f"bit = {LONG}\n[line]\njitter = {LONG // 8}\n"),
    "long bits off": lambda: few(
        "framed-serial", f'bit = {LONG}\n[clock]\nrate = "2 %"\nwander = {LONG // 100}\n'
    ),
    "long slots": lambda: few(
        "synced-scan", f"slot = {LONG}\n[line]\njitter = {LONG // 8}\ndelay = {LONG}\n", LEVEL
    ),
    "long jitter": lambda: few(
        "wire-per-input", f"[line]\njitter = {LONG}\ndelay = {LONG}\n[operator]\nhold = [1, 9]\n"
    ),
}
# Seconds: what is asked for, and what may be added by a grace, an import and a busy machine.
LIMIT, ADDED = 0.2, 6.0


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def ends_in_time(*arguments: str, seconds: float = LIMIT) -> Result:
    began = monotonic()
    result = ask(*arguments, "--time", str(seconds))
    assert monotonic() - began < seconds + ADDED
    assert result.exit_code == 3, result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert signal.getitimer(signal.ITIMER_REAL) == (0, 0)
    return result


@pytest.mark.parametrize("name", LINKS)
def test_a_check_ends_in_time_whatever_the_link(name: str, tmp_path: Path) -> None:
    file = tmp_path / "link.toml"
    file.write_text(LINKS[name](), encoding="utf-8")
    assert "undecided" in ends_in_time("check", str(file)).output


@pytest.mark.parametrize(
    "question",
    [
        "spacing",
        "latency",
        "margin --of line.jitter",
        "margin --of clock.rate",
        "recover",
        "summary",
        "show",
        "compare --jobs 1",
        "report -o {}",
    ],
)
def test_every_question_ends_in_time(question: str, tmp_path: Path) -> None:
    file, out = tmp_path / "link.toml", tmp_path / "out"
    file.write_text(LINKS["synced scan"](), encoding="utf-8")
    command, *rest = question.format(out).split()
    has_json = any("--json" in parameter.opts for parameter in main.commands[command].params)
    result = ends_in_time(command, str(file), *rest, *["--json"] * has_json)
    if has_json:
        assert answer(result, command)["verdict"] == "undecided"
    assert not out.exists() or not list(out.iterdir())


def answer(result: Result, command: str) -> dict[str, Any]:
    """What is on stdout, which keeps to its schema."""
    found: dict[str, Any] = json.loads(result.stdout)
    Draft202012Validator(schema_of(command)).validate(found)
    assert result.stderr == ""
    return found


def test_a_table_ends_in_time(tmp_path: Path) -> None:
    file = tmp_path / "link.toml"
    file.write_text(LINKS["gaps"](), encoding="utf-8")
    found = answer(ends_in_time("table", str(file), "--json"), "table")
    assert found == {
        "question": "table",
        "name": None,
        "verdict": "undecided",
        "covered": "nothing: the time was up before it could be asked",
    }


def test_memory_that_is_used_up_before_a_search_is_told(tmp_path: Path) -> None:
    file = tmp_path / "link.toml"
    file.write_text(LINKS["long jitter"](), encoding="utf-8")
    try:
        asked = ["check", str(file), "--memory", "64"]
        told, result = (ask(*asked, *more) for more in ([], ["--json"]))
    finally:
        memory.allow(memory.DEFAULT_MEGABYTES)
    assert (told.exit_code, told.stdout, result.exit_code) == (3, "", 3)
    assert "the memory was used up" in told.stderr
    covered = answer(result, "check")["covered"]
    assert covered == "nothing: the memory was used up before lone presses were known"


def test_what_a_search_had_come_to_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def rung(progress: Progress) -> None:
        progress.doing, progress.states = "exploring", 7
        raise RungError

    monkeypatch.setattr(check, "subject_of", lambda _: rung(current()))
    covered = answer(ask("check", "link.toml", "--json"), "check")["covered"]
    assert covered == (
        "nothing: the time was up before it could be asked; until then exploring: 7 states, "
        "sequences of up to 0 presses"
    )
    assert ask("check", "link.toml", "--quiet").stdout == "undecided\n"


def current() -> Progress:
    found = click.get_current_context().meta["fewwire.progress"]
    assert isinstance(found, Progress)
    return found


# -- the alarm --------------------------------------------------------------------


@pytest.fixture
def at_once(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(alarm, "GRACE", 0.0)
    monkeypatch.setattr(alarm, "AGAIN", 0.02)
    yield
    alarm.turn_off()


def work(seconds: float) -> None:
    end = monotonic() + seconds
    while monotonic() < end:
        pass


@pytest.mark.usefixtures("at_once")
def test_work_that_never_looks_at_the_clock_is_ended_again_and_again() -> None:
    alarm.set_off(0.02)
    for _ in range(3):
        with pytest.raises(RungError, match="undecided: the time was up"):
            work(20)
    alarm.turn_off()
    work(0.1)


@pytest.mark.usefixtures("at_once")
def test_work_that_never_looks_at_its_memory_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(alarm, "LOOK", 0.02)
    monkeypatch.setattr(memory, "used", lambda: 2 * memory.allowed() * memory.MEGABYTE)
    alarm.set_off(20)
    try:
        with pytest.raises(RungError, match="undecided: the memory was used up"):
            work(20)
    finally:
        memory.allow(memory.DEFAULT_MEGABYTES)


@pytest.mark.usefixtures("at_once")
def test_what_must_not_be_broken_is_done_to_its_end_first() -> None:
    done = []

    def save() -> None:
        alarm.set_off(0.01)
        with alarm.unbroken():
            work(0.1)
            done.append(True)
        work(20)

    with pytest.raises(RungError):
        save()
    assert done


@pytest.mark.usefixtures("at_once")
def test_what_begins_late_may_have_time_of_its_own() -> None:
    alarm.set_off(0.01)
    alarm.later(0.2)
    work(0.1)
    with pytest.raises(RungError):
        work(20)
