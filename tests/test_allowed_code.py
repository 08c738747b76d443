"""Python files that link files name: which is run, and that no process takes an old one for new."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tests.test_proper import GOOD
from tests.test_proper import LINK as MARKS
from verify.allowed_code import allow, digest_of, file_named
from verify.cli import main
from verify.engines.answer import Verdict
from verify.linkfile import load
from verify.questions.workers import each
from verify.sweeps.cells import find, task
from verify.sweeps.file import load_sweep

# What a file may hold besides a scheme travels as well.
CODE = """
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from models.wire_per_input import WirePerInput

class Metal(Enum):
    BRONZE = 1
    IRON = 2

class Bell(NamedTuple):
    metal: Metal

@dataclass(frozen=True, slots=True)
class Rope:
    ells: int

@dataclass(frozen=True)
class Wires(WirePerInput):
    bell: Bell
    rope: Rope

    def __str__(self):
        return f"first {self.bell.metal is Metal.BRONZE} {self.rope.ells}"

def scheme(inputs, tables):
    return Wires(inputs, Bell(Metal.BRONZE), Rope(7))
"""
LINK = 'tick = "10 ms"\n[inputs]\ncount = 2\n[link]\nscheme = "own"\npython = "wires.py"\n'
SWEEP = 'link = "wires.toml"\nask = "check"\n[grid]\n"link.python" = ["wires.py", "others.py"]\n'
# Of which one output is never struck.
DUMB = CODE.replace(
    "    def __str__",
    "    split = Scheme.split\n"
    "    alone = Scheme.alone\n"
    "    def receiver(self, branch, delay=0):\n"
    "        return super().receiver(branch)[:1]\n"
    "    def __str__",
).replace("from enum", "from verify.parts.scheme import Scheme\nfrom enum")


@pytest.fixture
def link(tmp_path: Path) -> Iterator[Path]:
    (tmp_path / "wires.py").write_text(CODE)
    (tmp_path / "others.py").write_text(DUMB)
    (tmp_path / "sweep.toml").write_text(SWEEP)
    (tmp_path / "wires.toml").write_text(LINK)
    allow(True)
    yield tmp_path / "wires.toml"
    allow(False)


def ask(*words: object) -> Result:
    return CliRunner().invoke(main, [*map(str, words), "--allow-code"])


def test_a_worker_that_lives_long_knows_both_editions_of_a_file(link: Path) -> None:
    first = load(link).scheme
    link.with_name("wires.py").write_text(CODE.replace('"first', '"second'))
    second = load(link).scheme
    assert first != second

    told = dict(each(str, [first, second, first], 2))
    assert told == {0: "first True 7", 1: "second True 7", 2: "first True 7"}

    # The same processes, and a file that is no longer there.
    link.with_name("wires.py").write_text(CODE.replace('"first', '"third'))
    third = load(link).scheme
    link.with_name("wires.py").unlink()
    assert dict(each(str, [third, second], 2)) == {0: "third True 7", 1: "second True 7"}


def test_cells_of_a_sweep_know_the_files_as_they_were(link: Path, tmp_path: Path) -> None:
    sweep = load_sweep(tmp_path / "sweep.toml")
    for name in ("wires.py", "others.py"):
        (tmp_path / name).write_text("raise RuntimeError")

    # As on a machine that has no such folder.
    tasks = [task(replace(sweep, folder="/nowhere"), number) for number in (1, 2)]
    found = [result.verdict for _, result in sorted(each(find, tasks, 2))]

    assert found == [Verdict.HOLDS.value, Verdict.FAILS.value]


def test_a_journal_belongs_to_every_file_that_cells_name(link: Path, tmp_path: Path) -> None:
    words = ["sweep", tmp_path / "sweep.toml", "-o", tmp_path / "t.csv", "--jobs", 1, "--force"]
    assert ask(*words).exit_code == 0
    journal = tmp_path / "t.csv.journal"
    lines = journal.read_text()
    assert ask(*words).exit_code == 0
    assert (journal.read_text(), lines.count("\n")) == (lines, 3)

    (tmp_path / "others.py").write_text(CODE)
    other = ask(*words)
    assert (other.exit_code, other.stdout) == (2, "")
    assert "the journal of another sweep, link file, Python file or version" in other.stderr


def test_a_class_that_changes_machines_says_anew_what_is_said_of_them(link: Path) -> None:
    silent = DUMB.replace("    split = Scheme.split\n    alone = Scheme.alone\n", "")
    link.with_name("wires.py").write_text(silent)
    refused = ask("check", link)
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert (
        "found a class Wires with receiver of its own, and split of WirePerInput, which speaks of "
        "other machines; allowed: all of its own (split = Scheme.split, alone = Scheme.alone: "
        "nothing is said), or none"
    ) in refused.stderr
    link.with_name("wires.py").write_text(DUMB)
    assert ask("check", link, "--quiet").exit_code == 1


def test_files_are_followed_where_they_are(link: Path, tmp_path: Path) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (inside / "wires.py").symlink_to(tmp_path / "wires.py")
    for name in ("../wires.py", str(tmp_path / "wires.py"), "./wires.py"):
        (inside / "link.toml").write_text(LINK.replace("wires.py", name))
        assert ask("check", inside / "link.toml", "--quiet").stdout == "holds\n"
    assert digest_of(inside / "wires.py") == digest_of(tmp_path / "wires.py") is not None


@pytest.mark.parametrize(
    ("named", "found"),
    [
        ("missing.py", "no such file"),
        (".", "a folder"),
        ("/dev/zero", "a device or pipe"),
        ("~/wires.py", "no such file"),
    ],
)
def test_what_is_no_file_is_not_read(named: str, found: str, link: Path) -> None:
    link.write_text(LINK.replace("wires.py", named))
    for words in ([], ["--resume", link.with_name("kept")]):
        refused = ask("check", link, *words)
        assert (refused.exit_code, refused.stdout) == (2, "")
        assert f"link.python: found {found}; allowed: a Python file, its path" in refused.stderr
    assert file_named({"link": {"python": named}}, link.parent) is None


def test_what_a_file_prints_is_no_part_of_an_answer(link: Path) -> None:
    loud = "print('loud')\n" + CODE.replace(
        "    return Wires", "    print('louder')\n    return Wires"
    )
    link.with_name("wires.py").write_text(loud)
    answer = ask("check", link, "--json")
    assert json.loads(answer.stdout)["verdict"] == "holds"
    assert "loud\nlouder\n" in answer.stderr


def test_code_that_takes_too_long_is_undecided(link: Path) -> None:
    link.with_name("wires.py").write_text("import time\ntime.sleep(100)\n" + CODE)
    # In a process of its own: here the alarm might ring in another test.
    words = [sys.executable, "-m", "verify", "check", link, "--allow-code", "--time", "0.2"]
    for more, out in (([], ""), (["--quiet"], "undecided\n")):
        ran = subprocess.run([*words, *more], capture_output=True, text=True, check=False)
        assert (ran.returncode, ran.stdout) == (3, out), ran.stderr
        assert ("the time was up" in ran.stderr) == (not more)


def test_the_pytest_file_of_a_fuzz_has_the_code_in_it(link: Path, tmp_path: Path) -> None:
    out = tmp_path / "test_found.py"
    found = ask("fuzz", link, "--receiver", "--command", "cat", "--runs", 2, "--pytest", out)
    assert found.exit_code == 1, found.output
    moved = tmp_path / "elsewhere"
    moved.mkdir()
    shutil.move(out, moved)
    link.with_name("wires.py").unlink()

    words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "test_found.py"]
    ran = subprocess.run(words, cwd=moved, capture_output=True, text=True, check=False)

    assert re.search(r"^E +AssertionError: TargetError", ran.stdout, re.M), ran.stdout
    assert "LinkFileError" not in ran.stdout


FAILS_LATE = GOOD.replace(
    'name = f"receiver{branch}"', 'name = f"receiver{branch}"; (1, 1)[branch]'
)
SAID_LATE = "found code that fails in line 29 (IndexError: tuple index out of range)"


@pytest.mark.parametrize("jobs", [1, 2])
def test_code_that_fails_in_a_worker_is_no_traceback(tmp_path: Path, jobs: int) -> None:
    link, code = tmp_path / "marks.toml", tmp_path / "marks.py"
    link.write_text(MARKS)
    code.write_text(FAILS_LATE)
    sweep = tmp_path / "sweep.toml"
    sweep.write_text('link = "marks.toml"\nask = "spacing"\n[grid]\n"line.jitter" = [0, 1]\n')

    compared = ask("compare", link, link, "--jobs", jobs, "--time", 5)
    swept = ask("sweep", sweep, "-o", tmp_path / "t.csv", "--jobs", jobs, "--json")

    assert (compared.exit_code, compared.stdout, compared.stderr.count("\n")) == (2, "", 1)
    assert f"fewwire: {code}: {SAID_LATE}" in compared.stderr
    assert swept.exit_code == 0, swept.output
    rows = (tmp_path / "t.csv").read_text().splitlines()[1:]
    assert [f"link.python: {SAID_LATE}" in row for row in rows] == [True, True]
