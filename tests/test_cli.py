"""The command line as a user meets it: answers, exit statuses, wrong input, start-up."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from verify.cli import main

LINKS = Path(__file__).parent.parent / "models" / "links"
CARILLON = str(LINKS / "carillon.toml")
PUPPETS = str(LINKS / "puppet_theatre.toml")


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def written(folder: Path, text: str) -> str:
    path = folder / "link.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def edited(folder: Path, before: str, after: str) -> str:
    """The demo with something changed, as a new user would."""
    text = Path(CARILLON).read_text(encoding="utf-8")
    assert before in text
    return written(folder, text.replace(before, after))


# -- answers --------------------------------------------------------------------


@pytest.mark.parametrize("engine", ["auto", "explorer", "solver"])
def test_check_proves_the_demo(engine: str) -> None:
    result = ask("check", CARILLON, "--engine", engine)

    assert result.exit_code == 0
    assert result.output.startswith("holds: every press of 'carillon' comes out")


def test_check_shows_why_the_puppet_theatre_fails() -> None:
    result = ask("check", PUPPETS)

    assert result.exit_code == 1
    assert result.output.startswith("fails: 2 presses break 'puppet theatre'.")
    assert "read as 'moon', so it" in result.output


def test_the_simulator_alone_is_undecided_about_the_demo() -> None:
    result = ask("check", CARILLON, "--engine", "simulator")

    assert result.exit_code == 3
    assert "undecided" in result.output


def test_spacing_names_the_least_the_rate_and_the_trace_below() -> None:
    result = ask("spacing", CARILLON)

    assert result.exit_code == 0
    assert "holds at a spacing of 16 ticks (800 ms) and above: up to 1.25 Hz" in result.output
    assert "One tick less, 15 ticks (750 ms), fails:" in result.output


def test_an_edited_gap_table_gets_a_new_answer(tmp_path: Path) -> None:
    path = edited(tmp_path, "gaps = [2, 4, 6, 8, 10, 12, 14]", "gaps = [2, 3, 4, 5, 6, 7, 8]")

    found = json.loads(ask("spacing", path, "--json").output)

    assert found["spacing_ticks"] == 10  # longest gap 8, its pulse, and one low tick


def test_spacing_in_json_has_its_documented_keys() -> None:
    result = ask("spacing", CARILLON, "--json", "--pairs")
    found = json.loads(result.output)

    assert (found["spacing_ticks"], found["spacing_s"], found["rate_hz"]) == (16, 0.8, 1.25)
    assert found["verdict"] == "holds"
    assert found["trace_below"]["failure"]["kind"] == "lost"
    assert found["pairs"] == [[gap + 2] * 7 for gap in (2, 4, 6, 8, 10, 12, 14)]
    assert found["pairs_verdict"] == "holds"


def test_no_safe_spacing_is_null_with_the_trace(tmp_path: Path) -> None:
    # The strike is due at once, but the gap takes two ticks: no press can ever be in time.
    path = edited(tmp_path, "[operator]", "[operator]\nwithin = [1, 1]")

    result = ask("spacing", path, "--json", "--pairs")
    found = json.loads(result.output)

    assert result.exit_code == 1
    assert found["verdict"] == "fails"
    assert found["spacing_ticks"] is None
    assert found["spacing_s"] is None
    assert found["rate_hz"] is None
    assert found["pairs"] is None
    assert len(found["trace_below"]["events"]) > 0
    assert found["trace_below"]["failure"]["kind"] == "late"


def test_latency_in_json_has_its_documented_keys() -> None:
    found = json.loads(ask("latency", CARILLON, "--json", "--traces").output)

    delays = [gap + 1 for gap in (2, 4, 6, 8, 10, 12, 14)]
    assert [row["name"] for row in found["inputs"]] == list("cdefgab")
    assert [row["best_ticks"] for row in found["inputs"]] == delays
    assert [row["worst_ticks"] for row in found["inputs"]] == delays
    assert (found["best_ticks"], found["worst_ticks"]) == (3, 15)
    strikes = [e for e in found["inputs"][3]["worst_trace"]["events"] if e["signal"] == "out.f"]
    assert strikes == [{"tick": 9, "signal": "out.f", "value": 1}]


@pytest.mark.parametrize("question", ["check", "spacing", "latency"])
@pytest.mark.parametrize("link", [CARILLON, PUPPETS])
def test_json_is_one_object_and_nothing_else(question: str, link: str) -> None:
    result = ask(question, link, "--json")

    assert isinstance(json.loads(result.stdout), dict)
    assert result.stderr == ""


def test_show_prints_the_gap_table_with_its_delays() -> None:
    result = ask("show", CARILLON)

    assert result.exit_code == 0
    assert "14 ticks (700 ms)" in result.output
    assert "15 ticks (750 ms)" in result.output  # the longest gap and the line's delay
    assert "licensed practice under local codes" in result.output


@pytest.mark.parametrize("scheme", ["pulse-gap", "wire-per-input"])
@pytest.mark.parametrize("inputs", ["1", "7", "12"])
def test_new_writes_a_file_that_holds(tmp_path: Path, scheme: str, inputs: str) -> None:
    path = str(tmp_path / "mine.toml")

    assert ask("new", path, "--scheme", scheme, "--inputs", inputs).exit_code == 0
    assert ask("check", path).exit_code == 0


def test_new_does_not_overwrite_unasked(tmp_path: Path) -> None:
    path = written(tmp_path, "mine")

    refused = ask("new", path)

    assert refused.exit_code == 2
    assert Path(path).read_text() == "mine"
    assert refused.stderr == (
        f"fewwire: {path}: found a file of that name; allowed: a new name, or --force\n"
    )
    assert ask("new", path, "--force").exit_code == 0


def test_new_into_a_folder_that_is_not_there_writes_nothing(tmp_path: Path) -> None:
    result = ask("new", str(tmp_path / "no" / "link.toml"))

    assert result.exit_code == 2
    assert "no such file or directory" in result.stderr
    assert list(tmp_path.iterdir()) == []


# -- wrong input ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("gaps = [2,", "gaps = [1,", ["link.gaps[0]", "found 1", "pulse"]),
        ("gaps = [2, 4,", "gaps = [2, 2,", ["link.gaps"]),
        ("10, 12, 14]", "10, 12]", ["link.gaps", "7"]),
        ("pulse = 1 ", "puls = 1 ", ["link.puls", "'pulse'"]),
        ("pulse = 1 ", "window = 1\npulse = 1 ", ["link.window", "both take 3"]),
        ('tick = "50 ms"', 'tick = "50 parsecs"', ["tick", "50 parsecs"]),
        ("spacing = 16", 'spacing = "130 ms"', ["operator.spacing", "100 ms", "150 ms"]),
        ('name = "carillon"', 'name = "carillon', ["line"]),
    ],
)
def test_a_wrong_file_gets_one_clear_message(
    tmp_path: Path, before: str, after: str, words: list[str]
) -> None:
    path = edited(tmp_path, before, after)

    result = ask("check", path)

    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith(f"fewwire: {path}")
    assert result.stderr.count("\n") == 1
    for word in [*words, "found", "allowed"]:
        assert word in result.stderr


def test_a_missing_file_is_named() -> None:
    result = ask("check", "nowhere.toml")

    assert result.exit_code == 2
    assert result.stderr == "fewwire: nowhere.toml: found no such file; allowed: a link file\n"


def test_a_file_that_is_not_utf8_is_named(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes(b'name = "caf\xe9"\n')

    result = ask("check", str(path))

    assert result.exit_code == 2
    assert "UTF-8" in result.stderr


def test_an_unknown_engine_is_bad_usage() -> None:
    assert ask("check", CARILLON, "--engine", "oracle").exit_code == 2


# -- as a process -----------------------------------------------------------------


def output_of(script: str) -> str:
    """What a fresh Python process prints."""
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    return done.stdout


def test_help_loads_nothing_heavy() -> None:
    loaded = output_of(
        "import sys\nfrom click.testing import CliRunner\nfrom verify.cli import main\n"
        "assert CliRunner().invoke(main, ['--help']).exit_code == 0\nprint(*sys.modules)"
    )
    packages = {name.split(".")[0] for name in loaded.split()}

    assert "click" in packages
    assert not packages & {"z3", "matplotlib", "hypothesis", "pydantic", "rich", "networkx"}


def test_an_explored_answer_does_not_load_the_solver() -> None:
    script = (
        "import sys\nfrom click.testing import CliRunner\nfrom verify.cli import main\n"
        f"result = CliRunner().invoke(main, ['check', {CARILLON!r}])\n"
        "assert result.exit_code == 0, result.output\n"
        "print('z3' in sys.modules)\n"
    )

    assert output_of(script) == "False\n"


def test_interrupting_says_how_far_the_search_got(tmp_path: Path) -> None:
    # A queue that overflows only after very many presses keeps the explorer busy.
    path = written(
        tmp_path,
        'tick = "1 ms"\n[inputs]\ncount = 6\n[link]\nscheme = "pulse-gap"\n'
        'gaps = [40, 42, 44, 46, 48, 50]\nbusy = "queue"\ndepth = 8\n[operator]\nspacing = 45\n',
    )
    process = subprocess.Popen(
        [sys.executable, "-m", "verify.cli", "check", path, "--engine", "explorer"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    time.sleep(3)
    process.send_signal(signal.SIGINT)
    stdout, stderr = process.communicate(timeout=20)

    assert process.returncode == 130
    assert stdout == ""
    assert stderr.startswith("fewwire: interrupted; exploring: ")
    assert "states" in stderr
    assert "Traceback" not in stderr


def test_a_time_limit_ends_in_undecided_that_says_how_far(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        'tick = "1 ms"\n[inputs]\ncount = 6\n[link]\nscheme = "pulse-gap"\n'
        'gaps = [40, 42, 44, 46, 48, 50]\nbusy = "queue"\ndepth = 8\n[operator]\nspacing = 45\n',
    )

    result = ask("check", path, "--engine", "explorer", "--time", "0.5", "--json")

    found = json.loads(result.output)
    assert result.exit_code == 3
    assert found["verdict"] == "undecided"
    assert found["trace"] is None
    assert "all sequences of fewer than" in found["covered"]


def test_every_command_has_help_with_an_example() -> None:
    for name, command in main.commands.items():
        assert command.help is not None
        assert f"Example: fewwire {name} " in command.help


@pytest.mark.parametrize(
    ("target", "status", "words"),
    [("1< /dev/null", 2, "output: found Bad file descriptor"), ("|", 141, "")],
)
def test_output_that_cannot_be_written(target: str, status: int, words: str) -> None:
    command = f"{sys.executable} -m verify.cli latency {CARILLON}"
    shell = f"{command} | true; exit ${{PIPESTATUS[0]}}" if target == "|" else f"{command} {target}"
    done = subprocess.run(["bash", "-c", shell], capture_output=True, text=True, check=False)

    assert done.returncode == status
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert "ignored" not in done.stderr


def many_inputs(tmp_path: Path, hold: str) -> str:
    path = tmp_path / "many.toml"
    path.write_text(
        f'tick = "1 ms"\n[inputs]\ncount = 24\n[link]\nscheme = "parallel-code"\nsettle = 3\n'
        f"[operator]\noverlap = 1\nhold = {hold}\n[line]\nskew = 2\n"
    )
    return str(path)


def test_a_search_that_takes_too_much_memory_says_how_far_it_got(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "verify", "check", many_inputs(tmp_path, "20"), "--json"]
    done = subprocess.run(
        [*command, "--engine", "explorer", "--memory", "64", "--time", "30"],
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 3, done.stderr
    found = json.loads(done.stdout)
    assert found["verdict"] == "undecided"
    assert "all sequences of fewer than" in found["covered"]


def test_the_time_is_up_also_before_lone_presses_are_known(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["check", many_inputs(tmp_path, "[20, 200]"), "--time", "0.1"])

    assert done.exit_code == 3
    assert "undecided: the time was up" in done.stderr
