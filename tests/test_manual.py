"""The manual's pages are there, their examples are real, and answers keep to their schemas."""

from __future__ import annotations

import contextlib
import json
import re
import shlex
import shutil
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator

from verify.cli import main
from verify.manuals import page, pages, schema_of, schemas

ROOT = Path(__file__).parent.parent
LINKS = ROOT / "models" / "links"
WORDS_OF_ALL = page("json")


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), env={"COLUMNS": "80"})


def has_json(command: click.Command) -> bool:
    return any("--json" in parameter.opts for parameter in command.params)


# -- answers and schemas ----------------------------------------------------------

ASKED = [
    "carillon.toml",
    "puppet_theatre.toml",
    "check puppet_theatre.toml",
    "check weather_mast.toml",
    "spacing carillon.toml --pairs",
    "spacing puppet_theatre.toml",
    "latency puppet_theatre.toml",
    "latency carillon.toml --traces",
    "margin carillon.toml --of line.jitter",
    pytest.param("margin two_levers.toml --of clock.offset", marks=pytest.mark.slow),
    "margin two_frames.toml --of clock.rate",
    "recover carillon.toml",
    "lifetime carillon.toml",
    pytest.param("lifetime bird_hide.toml", marks=pytest.mark.slow),
    "compare two_frames.toml --time 0.3 --jobs 1",
    "sweep carillon_pulses.toml -o pulses.parquet --jobs 1",
    "table carillon.toml",
    "table puppet_theatre.toml",
    "table stage_lamps.toml",
    "table start_stop.toml",
    "table morse.toml",
    "table morse_run_together.toml",
    "design --inputs 3",
    "design --inputs 5 --scheme parallel-code",
    "design --inputs 3 --overlap chords",
    "sheet carillon_two_towers.toml",
    "sheet stage_lamps.toml",
    "sheet weather_mast.toml",
    "sheet greenhouse.toml",
    "schedule carillon.toml carillon_tune.csv",
    "trace puppet_theatre.toml --out moon.vcd",
    "trace carillon.toml --out none.json",
    "replay carillon.toml carillon_evensong.csv --within line.swallowed=2 --within clock.rate=0.1",
    "recheck carillon.json",
    "fuzz carillon.toml --receiver --command cat --runs 3",
]


@pytest.mark.parametrize("line", ASKED)
def test_answers_keep_to_their_schemas(
    line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(_demo(tmp_path))
    ask("new", "two_levers.toml", "--inputs", "2", "--scheme", "synced-scan")
    ask("new", "two_frames.toml", "--inputs", "2", "--scheme", "framed-serial")
    found = json.loads(ask(*shlex.split(line), "--json").stdout)

    Draft202012Validator(schema_of(found["question"])).validate(found)
    # A key that nobody has documented is refused.
    assert not Draft202012Validator(schema_of(found["question"])).is_valid({**found, "new": 1})


def test_every_question_with_json_is_asked_above_and_has_a_schema() -> None:
    lines = [line for line in ASKED if isinstance(line, str)]
    # Every one of them fast, not only among the slow.
    asked = {words[0] if len(words := line.split()) > 1 else "summary" for line in lines}
    with_json = {name for name, command in main.commands.items() if has_json(command)}

    assert with_json == set(schemas()) == asked


def objects(schema: Any) -> Iterator[dict[str, Any]]:
    if isinstance(schema, dict):
        if schema.get("type") == "object":
            yield schema
        for value in schema.values():
            yield from objects(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from objects(value)


@pytest.mark.parametrize("name", schemas())
def test_schemas_are_sound_closed_and_in_the_page(name: str) -> None:
    schema = schema_of(name)
    Draft202012Validator.check_schema(schema)
    own = page(name) + WORDS_OF_ALL
    shared = {"link", "answer", "cells"}
    open_ones = {id(schema.get("$defs", {}).get(part)) for part in shared}

    for part in objects(schema):
        closed = "additionalProperties" in part or part.get("unevaluatedProperties") is False
        assert closed or id(part) in open_ones
    if name != "summary":
        for part in objects(schema):
            for key in part.get("properties", {}):
                assert f"`{key}`" in own, key


def test_the_schema_of_an_unknown_question_is_one_line() -> None:
    for arguments in (["manual", "tides"], ["manual", "--schema"], ["manual", "show", "--schema"]):
        result = ask(*arguments)

        assert result.exit_code == 2
        assert result.stderr.count("\n") == 1
        assert "allowed: " in result.stderr


# -- pages ------------------------------------------------------------------------


def test_every_command_has_a_page_with_all_its_options() -> None:
    for name, command in main.commands.items():
        text = page(name)
        assert text.startswith(f"# fewwire {name}\n\n")
        for parameter in command.params:
            for option in parameter.opts:
                if option.startswith("--") and option not in ("--engine", "--time"):
                    assert option in text + WORDS_OF_ALL, (name, option)


def test_the_list_of_pages_has_them_all_and_a_pipe_gets_plain_markdown() -> None:
    listed = ask("manual")

    assert set(pages()) > set(main.commands)
    assert all(f"- `{name}`: " in listed.stdout for name in pages())
    assert ask("manual", "check").stdout == page("check")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo links."""
    return _demo(tmp_path_factory.mktemp("demo"))


@lru_cache
def answered(line: str, folder: Path) -> Result:
    """What a command says there; pages and help may have the same example."""
    with contextlib.chdir(folder):
        return ask(*shlex.split(line))


EXAMPLES = [
    (name, command, shown)
    for name in pages()
    for command, shown in re.findall(
        r"^\$ fewwire (.*)\n((?:(?!^\$ |^```).*\n)*)", page(name), re.MULTILINE
    )
]


@pytest.mark.parametrize(("name", "command", "shown"), EXAMPLES)
def test_examples_of_pages_are_real(name: str, command: str, shown: str, demo: Path) -> None:
    line, _, head = command.partition(" | head -")
    lines = answered(line, demo).output.splitlines(keepends=True)[: int(head) if head else None]

    assert "".join(lines) == shown


def test_most_pages_have_an_example() -> None:
    # The exceptions print what every installation has its own of.
    assert set(main.commands) - {name for name, _, _ in EXAMPLES} <= {"completion", "compare"}


def _demo(folder: Path) -> Path:
    for path in LINKS.iterdir():
        if path.suffix in (".toml", ".csv"):
            shutil.copy(path, folder)
    with contextlib.chdir(folder):
        ask("check", "carillon.toml", "--certificate", "carillon.json")
    return folder


HELP = [
    (name, match[1])
    for name, command in main.commands.items()
    if (match := re.search(r"Example: fewwire (.*)", command.help or ""))
]
LONG = {"compare"}


@pytest.mark.parametrize(
    ("name", "line"),
    [pytest.param(*h, marks=[pytest.mark.slow] if h[0] in LONG else []) for h in HELP],
)
def test_examples_of_help_run(name: str, line: str, demo: Path) -> None:
    result = answered(line, demo)

    assert result.exit_code in (0, 1, 3), result.stderr
    assert result.output
    assert "Error" not in result.stderr


def test_every_command_has_an_example_in_its_help() -> None:
    assert {name for name, _ in HELP} == set(main.commands)
