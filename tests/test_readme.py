"""The README shows real output, and the commands that CI takes from it are there."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
TOUR = re.findall(r"^\$ fewwire (.*)\n((?:(?!^\$ |^```).*\n)*)", README, re.MULTILINE)


@pytest.mark.parametrize(("command", "shown"), TOUR, ids=[c for c, _ in TOUR])
def test_the_tour_shows_real_output(command: str, shown: str) -> None:
    done = subprocess.run(
        ["bash", "-c", f"{shlex.quote(sys.executable)} -m verify.cli {command}"],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=ROOT,
        env={**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"},
        check=False,
    )

    assert done.stderr == ""
    assert done.stdout == shown


def test_the_tour_has_ten_lines() -> None:
    tour = README.split("## A tour")[1].split("```")[1].strip().splitlines()[1:]
    assert len(tour) == 10
    assert len(TOUR) == 6


def test_the_two_commands_are_each_one_line() -> None:
    assert README.count("\npip install . &&") == 1
    assert README.count('\npip install ".[test]" &&') == 1


def test_every_command_and_option_is_in_the_readme() -> None:
    from verify.cli import main

    for name, command in main.commands.items():
        assert f"fewwire {name}" in README
        for parameter in command.params:
            for option in parameter.opts:
                if option.startswith("--") and name not in ("new",):
                    assert option in README, (name, option)
