"""Every command on machines of one's own, beside the same scheme built in: equal answers.

The commands are those of the command line itself. One that is new has to be tried here, or to be
named with the reason why it can say nothing of machines in a link file.
"""

from __future__ import annotations

import csv
import io
import json
import re
import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

import pytest
from click.testing import CliRunner, Result

from tests import twins
from verify.allowed_code import allow
from verify.cli import main
from verify.questions.disturbances import Disturbance

INPUTS, GAPS = 2, (2, 4)


def gaps_of_ones_own(spacing: int) -> str:
    return twins.PULSE_GAP.format(
        inputs=INPUTS,
        queue="",
        gaps=[*GAPS],
        pulse=1,
        before=0,
        after=0,
        sender=twins.OVERLAY,
        receiver=twins.TIMER,
        spacing=spacing,
    )


def gaps_built_in(spacing: int) -> str:
    return f"""
tick = "50 ms"
[inputs]
count = {INPUTS}
[link]
scheme = "pulse-gap"
gaps = {[*GAPS]}
pulse = 1
window = 0
receiver = "timer"
busy = "overlay"
[operator]
spacing = {spacing}
"""


def wires_of_ones_own(spacing: int) -> str:
    return twins.WIRES.format(inputs=2, kind="level", line="", operator=f"spacing = {spacing}")


def wires_built_in(spacing: int) -> str:
    return f"""
tick = "50 ms"
[inputs]
count = 2
kind = "level"
[link]
scheme = "wire-per-input"
[operator]
spacing = {spacing}
"""


SWEPT = """
link = "safe.toml"
ask = "latency"
[grid]
line.jitter = [0, 1]
operator.spacing = [90, 99]
"""
PRESSES = "input,tick\n2,0\n1,90\n2,200\n"
TUNE = "input\n2\n1\n1\n"

# A receiver of the gaps, which somebody else wrote: right, and one that never begins anew.
ENDS = """
class Right:
    anew = True

    def __init__(self):
        self.first = None

    def __call__(self, tick, heard):
        if ("line", 1) not in heard:
            return None
        apart = None if self.first is None else tick - self.first
        if apart in (2, 4):
            self.first = None if self.anew else tick
            return [(f"out.{apart // 2}", 1)]
        self.first = None if apart is not None and apart <= 5 else tick
        return None


class Wrong(Right):
    anew = False


class Sender:
    gaps = (2, 4)

    def __init__(self):
        self.due = []

    def __call__(self, tick, heard):
        said = [("line", level) for at, level in self.due if at == tick]
        for signal, value in heard:
            if value:
                gap = self.gaps[int(signal[3:]) - 1]
                said.append(("line", 1))
                self.due += [(tick + 1, 0), (tick + gap, 1), (tick + gap + 1, 0)]
        return said


class Hasty(Sender):
    gaps = (2, 3)
"""

# Of each command, lines that are put to both. "safe" holds, "tight" fails.
TRIED: dict[str, list[str]] = {
    "summary": ["safe.toml", "tight.toml"],
    "check": ["check safe.toml", "check tight.toml"]
    + [
        f"check {name}.toml --engine {e}" for e in ("zones", "solver") for name in ("safe", "tight")
    ],
    "recheck": ["check safe.toml --certificate proof.json", "recheck proof.json"],
    "spacing": ["spacing safe.toml --pairs"],
    "latency": ["latency safe.toml --traces"],
    "margin": [f"margin safe.toml --of {kind}" for kind in get_args(Disturbance)],
    "recover": ["recover safe.toml"],
    "lifetime": ["lifetime safe.toml"],
    "compare": ["compare safe.toml tight.toml --jobs 1 --csv compared.csv"],
    "sweep": ["sweep sweep.toml -o table.csv --jobs 1"],
    "sheet": ["sheet safe.toml --csv sheet.csv"],
    "schedule": ["schedule safe.toml tune.csv --csv played.csv"],
    "trace": [
        f"trace {link}.toml --out {link}.{ending} {how}"
        for link, how in (("tight", ""), ("safe", "--presses presses.csv"))
        for ending in ("csv", "vcd", "json", "svg", "txt")
    ],
    "replay": [
        "trace safe.toml --out recorded.csv --presses presses.csv",
        "trace safe.toml --out recorded.vcd --presses presses.csv",
        "replay safe.toml recorded.csv",
        "replay safe.toml recorded.vcd",
        "replay safe.toml altered.csv",
        "replay safe.toml altered.csv --within line.jitter=2 --within clock.rate=0.5",
        "replay safe.toml altered.csv --tolerance 1",
    ],
    "fuzz": [
        f"--allow-code fuzz safe.toml --{end} --callable far_ends:{name} --runs 5"
        for end, names in (("receiver", ("Right", "Wrong")), ("transmitter", ("Sender", "Hasty")))
        for name in names
    ],
    "report": ["report tight.toml -o pages --time 2"],
    "show": ["show safe.toml --graph modes.svg"],
    "new": ["new begun.toml --scheme own --inputs 2", "check begun.toml"],
}
# What the two say alike where a question makes no sense, but for the name of the scheme.
NO_SENSE = re.compile(r"line\.skew: found a link of one line|whose (receiver|transmitter)|a clock")
SCHEME = re.compile(r'"(own|pulse-gap|wire-per-input)"')
# What says nothing of machines that it does not know: the reason.
NO_MEANING = {
    "table": "a table is judged by counting, which needs to know what its entries mean",
    "design": "what is searched for are tables of schemes that are known",
    "manual": "is about no link",
    "completion": "is about no link",
}
# Levers have no pace, and no program here that plays an end of theirs. Seconds of work: two
# levers of one's own are one question, of wires built in they are one each, and alike. For the
# same reason the solver, which looks at so many moves, proves the one and not the other.
OF_PRESSES = {"schedule", "fuzz", "compare"}
LINES_OF_PRESSES = {
    "margin safe.toml --of line.skew",
    "check safe.toml --engine solver",
    "check tight.toml --engine solver",
}
# How it was found, and what the scheme and its parts are called.
NOT_COMPARED = {
    "": {"scheme", "engine", "covered"},
    "compare": {"reason"},
    # Machines of one's own are proved as a whole, and may be switched on with a line high.
    "recheck": {"unsat", "queries", "groups", "parts"},
    "recover": {"trace"},
    # What is wired how, and built of delay elements, only a scheme that is known can say.
    "sheet": {"settings", "delays", "delay_elements", "delay_elements_in_all"}
    | {"window_ticks", "send", "line"},
}


def test_every_command_is_tried_or_has_a_reason() -> None:
    assert not set(TRIED) & set(NO_MEANING)
    assert set(TRIED) | set(NO_MEANING) == set(main.commands)
    for name, lines in TRIED.items():
        # A line of its own, not only of what it needs before.
        assert name == "summary" or any(name in line.split() for line in lines)


def told(answer: object, command: str) -> object:
    """An answer without what may differ."""
    if isinstance(answer, dict):
        apart = NOT_COMPARED[""] | NOT_COMPARED.get(command, set())
        return {k: told(v, command) for k, v in answer.items() if k not in apart}
    return [told(one, command) for one in answer] if isinstance(answer, list) else answer


class Place:
    """A folder with two links, in which commands are run."""

    def __init__(self, folder: Path, safe: str, tight: str) -> None:
        self.folder = folder
        folder.mkdir()
        texts = {"safe.toml": safe, "tight.toml": tight, "sweep.toml": SWEPT, "far_ends.py": ENDS}
        texts |= {"presses.csv": PRESSES, "tune.csv": TUNE}
        for name, text in texts.items():
            (folder / name).write_text(text)

    def run(self, line: str, monkeypatch: pytest.MonkeyPatch) -> Result:
        """One line, with ``--json`` where there is such an option."""
        monkeypatch.chdir(self.folder)
        words = shlex.split(line)
        if "altered.csv" in words:
            self._alter()
        name = next((w for w in words if w in main.commands), "summary")
        has_json = any("--json" in option.opts for option in main.commands[name].params)
        result = CliRunner().invoke(main, [*words, *["--json"] * has_json], env={"COLUMNS": "80"})
        allow(False)
        assert result.exception is None or isinstance(result.exception, SystemExit), line
        assert "Traceback" not in result.stderr
        return result

    def _alter(self) -> None:
        """The first strike, or move of an output, comes two ticks late."""
        rows = (self.folder / "recorded.csv").read_text().splitlines()
        k = next(k for k, row in enumerate(rows) if ",out." in row and not row.endswith(",0"))
        tick, rest = rows.pop(k).split(",", 1)
        late = int(tick) + 2
        after = next((n for n, r in enumerate(rows) if n >= k and int(r.split(",")[0]) > late), k)
        rows.insert(after, f"{late},{rest}")
        (self.folder / "altered.csv").write_text("\n".join(rows) + "\n")

    def written(self, command: str) -> dict[str, object]:
        """What commands wrote that can be held against each other; of the rest that it is there."""
        found: dict[str, object] = {}
        for path in sorted(self.folder.rglob("*.*")):
            text = path.read_text(encoding="utf-8")
            if path.suffix == ".csv" and path.name != "sheet.csv":
                rows = list(csv.DictReader(io.StringIO(text)))
                found[path.name] = told(rows, command)
            else:
                found[path.name] = text if path.suffix == ".vcd" else bool(text)
        return found


@dataclass(frozen=True)
class Both:
    """Machines of one's own, and the same built in."""

    kind: str
    own: Place
    built: Place


@pytest.fixture(params=["presses", "levers"])
def both(request: pytest.FixtureRequest, tmp_path: Path) -> Both:
    makers = {
        "presses": (gaps_of_ones_own, gaps_built_in),
        "levers": (wires_of_ones_own, wires_built_in),
    }
    own, built = makers[request.param]
    return Both(
        request.param,
        Place(tmp_path / "own", own(80), own(3)),
        Place(tmp_path / "built", built(80), built(3)),
    )


@pytest.mark.parametrize("command", TRIED)
def test_answers_are_those_of_the_scheme_built_in(
    command: str, both: Both, monkeypatch: pytest.MonkeyPatch
) -> None:
    if both.kind == "levers" and command in OF_PRESSES:
        pytest.skip("of presses")
    for line in TRIED[command]:
        if both.kind == "levers" and line in LINES_OF_PRESSES:
            continue
        mine, known = both.own.run(line, monkeypatch), both.built.run(line, monkeypatch)
        assert (mine.exit_code, line) == (known.exit_code, line), mine.stderr
        if known.exit_code == 2:
            # No sense for such a link, whoever wrote its machines down.
            assert NO_SENSE.search(known.stderr), known.stderr
            assert SCHEME.sub("", mine.stderr) == SCHEME.sub("", known.stderr)
        elif known.stdout.startswith("{"):
            mine_told, known_told = (told(json.loads(r.stdout), command) for r in (mine, known))
            assert mine_told == known_told, line
    assert both.own.written(command) == both.built.written(command)


@pytest.mark.parametrize("line", ["table safe.toml", "design --inputs 2 --scheme own"])
def test_what_has_no_meaning_is_said_in_one_line(
    line: str, both: Both, monkeypatch: pytest.MonkeyPatch
) -> None:
    result = both.own.run(line, monkeypatch)

    assert result.exit_code == 2
    *usage, last = result.stderr.strip().splitlines()
    assert len(usage) <= 3
    assert "own" in last
    assert "pulse-gap" in last  # what is allowed
    if line.startswith("table"):
        assert not usage
        assert last.startswith('fewwire: safe.toml: link.scheme: found "own"')
