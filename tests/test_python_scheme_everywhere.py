"""Every command on a scheme in a Python file, held against the built-in scheme that it repeats.

A command that is added is tried here, too, or the module fails: say in ``ASKED`` how it is asked.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator

from verify.cli import main
from verify.manuals import page, schema_of, schemas

# The machines of built-in schemes, and nothing else of what those say of themselves: no parts, no
# symmetries, no arguments of their own.
CODE = """
from dataclasses import dataclass

from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from verify.parts.scheme import Scheme

@dataclass(frozen=True)
class Repeated(Scheme):
    same: Scheme

    @property
    def inputs(self):
        return self.same.inputs

    @property
    def lines(self):
        return self.same.lines

    @property
    def watches_release(self):
        return self.same.watches_release

    def per_input(self):
        return self.same.per_input()

    def settings(self):
        return self.same.settings()

    def delays(self):
        return self.same.delays()

    def transmitter(self):
        return self.same.transmitter()

    def receiver(self, branch, delay=0):
        return self.same.receiver(branch, delay)

def scheme(inputs, tables):
    print("run")  # no part of any answer
    if "gaps" in tables:
        return Repeated(PulseGap(tables["gaps"], tables["pulse"], (1,) * inputs, "ignore"))
    return Repeated(WirePerInput(inputs))
"""
BUILT_IN = """
scheme = "pulse-gap"
gaps = [5, 9]
pulse = 2
window = 1
busy = "ignore"
"""
IN_PYTHON = """
scheme = "own"
python = "mine.py"
tables.gaps = [5, 9]
tables.pulse = 2
"""
WIRES = 'scheme = "wire-per-input"\n'
WIRES_IN_PYTHON = 'scheme = "own"\nlines = 2\npython = "mine.py"\n'
LINK = """
name = "twins"
tick = "10 ms"
[inputs]
names = ["tenor", "treble"]
{kind}
[link]
{link}
[operator]
spacing = {spacing}
"""
FILES = {
    "link": (BUILT_IN, IN_PYTHON, "", 30),
    "close": (BUILT_IN, IN_PYTHON, "", 3),
    "levers": (WIRES, WIRES_IN_PYTHON, 'kind = "level"', 2),
}
SWEEP = 'name = "twins"\nlink = "{link}.toml"\nask = "spacing"\n[grid]\n"line.jitter" = [0, 1]\n'

ENGINES = ("auto", "explorer", "zones", "solver", "simulator")
MARGINS = ("clock.rate", "clock.wander", "line.jitter", "line.shortest", "pause")

# How every command is asked; {link} and the like are link files, of one kind or the other.
ASKED: dict[str, list[str]] = {
    "summary": ["{link}", "{close}", "{levers}"],
    "check": [
        *(f"{{link}} --engine {engine}" for engine in ENGINES if engine != "simulator"),
        *(f"{{close}} --engine {engine}" for engine in ENGINES if engine != "zones"),
        "{levers}",
    ],
    "spacing": ["{link} --pairs", "{levers}"],
    "latency": ["{link} --traces", "{levers}"],
    "margin": [*(f"{{link}} --of {of}" for of in MARGINS), "{link} --of clock.offset"],
    "recover": ["{levers}"],
    "lifetime": ["{link}"],
    "compare": ["{link} --jobs 1"],
    "sweep": ["{sweep} -o {out}.csv --jobs 1"],
    "table": ["{link}"],
    "sheet": ["{link}"],
    "schedule": ["{link} tune.csv", "{levers} tune.csv"],
    "trace": ["{close} -o {out}.vcd", "{close} -o {out}.svg"],
    "recheck": ["{certificate}"],
    "fuzz": ["{link} --receiver --command cat --runs 2"],
    "replay": ["{close} run.json", "{link} run.json"],
    "report": ["{close} -o {out}"],
    "show": ["{link}", "{link} --graph {out}.svg"],
}
# Commands that are not about a link file.
OF_NO_LINK = {"design", "new", "manual", "completion"}
# What makes no sense for a scheme of which nothing but its machines is known.
ONLY_BUILT_IN = {"table": 'link.scheme: found "own", which has no table; allowed: "pulse-gap"'}

LINES = [(name, line) for name, lines in ASKED.items() for line in lines]


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), env={"COLUMNS": "80"})


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every file twice: ``built.NAME.toml`` and ``python.NAME.toml``."""
    place = tmp_path_factory.mktemp("twins")
    (place / "mine.py").write_text(CODE)
    (place / "tune.csv").write_text("input\n1\n2\n2\n")
    for name, (built, python, kind, spacing) in FILES.items():
        for which, text in (("built", built), ("python", python)):
            link = LINK.format(link=text, kind=kind, spacing=spacing)
            (place / f"{which}.{name}.toml").write_text(link)
    for which in ("built", "python"):
        (place / f"{which}.sweep.toml").write_text(SWEEP.format(link=f"{which}.link"))
        proof = str(place / f"{which}.certificate.toml")
        link = str(place / f"{which}.link.toml")
        assert ask("check", link, "--allow-code", "--certificate", proof).exit_code == 0
    run = str(place / "run.json")
    assert ask("trace", str(place / "built.close.toml"), "-o", run).exit_code == 1
    return place


def words_of(line: str, which: str, out: Path) -> list[str]:
    known = {n: f"{which}.{n}.toml" for n in (*FILES, "sweep", "certificate")}
    return line.format(out=out / which, **known).split()


def takes_json(name: str) -> bool:
    return any("--json" in parameter.opts for parameter in main.commands[name].params)


def figures(answer: Any) -> Any:
    """What an answer says; who found it, and how far it went, may differ."""
    if isinstance(answer, dict):
        left_out = (
            "engine",
            "covered",
            "scheme",
            "took_s",
            "file",
            "table",
            "seconds",
            "queries",
            "groups",
        )
        return {k: figures(v) for k, v in answer.items() if k not in left_out}
    if isinstance(answer, list):
        return [figures(part) for part in answer]
    return re.sub(r'scheme "[^"]*"', "scheme", answer) if isinstance(answer, str) else answer


def plain(text: str) -> list[str]:
    """Lines that say what was found, not by whom, nor which scheme it is."""
    text = re.sub(r"\bBy the [^.]*\.|python\.|built\.|states?: .*", "", text)
    return [line.rstrip() for line in text.splitlines() if "scheme" not in line]


def test_every_command_is_tried_here() -> None:
    assert set(main.commands) == {*ASKED, *OF_NO_LINK}, "say in ASKED how a new command is asked"


@pytest.mark.parametrize(("name", "line"), LINES)
def test_the_answers_are_those_of_the_built_in_scheme(
    name: str, line: str, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    end = ["--json"] if takes_json(name) else []
    python = ask(name, *words_of(line, "python", tmp_path), *end, "--allow-code")
    if name in ONLY_BUILT_IN:
        assert (python.exit_code, python.stdout) == (2, "")
        assert ONLY_BUILT_IN[name] in python.stderr
        assert python.stderr.replace("run\n", "").count("\n") == 1
        return
    built = ask(name, *words_of(line, "built", tmp_path), *end)

    assert python.exit_code == built.exit_code, python.output
    assert "Traceback" not in python.output
    assert not isinstance(python.exception, Exception)
    if built.exit_code == 2:
        assert python.stdout == ""
        assert plain(python.stderr.replace("run\n", "")) == plain(built.stderr)
    elif end:
        answer = json.loads(python.stdout)
        if name in schemas():
            Draft202012Validator(schema_of(name)).validate(answer)
        assert figures(answer) == figures(json.loads(built.stdout))
    else:
        assert plain(python.stdout) == plain(built.stdout)
    for mine in (p for p in tmp_path.rglob("*") if p.is_file()):
        place = str(mine.relative_to(tmp_path))
        if place.startswith("python") and mine.suffix != ".journal":
            theirs = tmp_path / place.replace("python", "built", 1)
            assert plain(mine.read_text()) == plain(theirs.read_text()), place


@pytest.mark.parametrize("name", sorted(ASKED))
def test_no_command_runs_a_python_file_that_was_not_allowed(
    name: str, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    found = ask(name, *words_of(ASKED[name][0], "python", tmp_path))

    assert (found.exit_code, found.stdout) == (2, ""), found.output
    assert found.stderr.count("\n") == 1
    assert "allowed: with --allow-code on the command line only" in found.stderr
    assert list(tmp_path.glob("*.*")) == []


# -- in the manual ------------------------------------------------------------------------


def test_the_two_ways_to_write_the_manual_s_machines_agree(tmp_path: Path) -> None:
    text = page("own_machines")
    (tables,) = re.findall(r"```toml\n(.*?)```", text, re.S)
    (code,) = re.findall(r"```python\n(.*?)```", text, re.S)
    written, in_python = tmp_path / "written.toml", tmp_path / "python.toml"
    end = "[line]\ndelay = [0, 2]\n[operator]\nspacing = 8\n"
    written.write_text(f'name = "marks"\n{tables}{end}')
    head = tables[: tables.index("[transmitter]")].replace(
        'scheme = "own"', 'scheme = "own"\npython = "widths.py"'
    )
    in_python.write_text(f'name = "marks"\n{head}{end}')
    (tmp_path / "widths.py").write_text(code)

    for question in ("check", "spacing", "latency"):
        asked = [
            ask(question, str(file), "--json", "--allow-code") for file in (written, in_python)
        ]
        answers = [json.loads(answer.stdout) for answer in asked]
        assert answers[0]["verdict"] == "holds"
        assert figures(answers[0]) == figures(answers[1]), question
