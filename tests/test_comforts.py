"""One file in place of a command, quiet answers, colours, shells, and progress on terminals."""

from __future__ import annotations

import json
import os
import pty
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from verify.cli import main

LINKS = Path(__file__).parent.parent / "models" / "links"
CARILLON = str(LINKS / "carillon.toml")
PUPPETS = str(LINKS / "puppet_theatre.toml")
ESCAPE = "\x1b["


def ask(*arguments: str, **env: str) -> Result:
    return CliRunner().invoke(main, list(arguments), env={"COLUMNS": "80", **env})


# -- a file in place of a command -------------------------------------------------


@pytest.mark.parametrize("link", [CARILLON, PUPPETS])
def test_a_file_alone_is_asked_the_three_questions(link: str) -> None:
    found = json.loads(ask(link, "--json").stdout)

    for name in ("check", "spacing", "latency"):
        alone = ask(name, link, "--json")
        assert found[name] == json.loads(alone.stdout)
    assert ask(link).exit_code == ask("check", link).exit_code
    assert found["verdict"] == found["check"]["verdict"]


def test_options_may_come_before_the_file() -> None:
    after = ask(CARILLON, "--time", "9", "--quiet")

    assert ask("--time", "9", "--quiet", CARILLON).stdout == after.stdout != ""
    assert ask("--quite", CARILLON).exit_code == 2
    assert ask("--version").exit_code == 0


def test_the_summary_has_a_line_each_and_the_failing_run() -> None:
    held, failed = ask(CARILLON).stdout, ask(PUPPETS).stdout

    assert re.search(r"^check +holds: ", held, re.MULTILINE)
    assert re.search(r"^spacing +holds from 16 ticks \(800 ms\) on", held, re.MULTILINE)
    assert re.search(r"^latency +3 ticks \(150 ms\) to 15 ticks \(750 ms\)$", held, re.MULTILINE)
    assert re.search(r"^check +fails: 2 presses break it", failed, re.MULTILINE)
    assert "read as 'moon', so it" in failed


def test_ends_that_drift_apart_have_no_latency(tmp_path: Path) -> None:
    path = tmp_path / "gate"  # a file that is there need not end in .toml
    path.write_text(
        'tick = "20 ms"\n[inputs]\ncount = 2\nkind = "level"\n[link]\nscheme = "free-scan"\n'
        'slot = 2\n[clock]\nrate = "10 %"\n'
    )

    found = json.loads(ask(str(path), "--json", "--time", "2").stdout)

    assert found["latency"] is None
    assert found["verdict"] == found["check"]["verdict"]


def test_what_is_open_makes_the_summary_undecided() -> None:
    result = ask(CARILLON, "--engine", "simulator", "--time", "0.2", "--quiet")

    assert result.exit_code == 3
    assert result.stdout.startswith("undecided")


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("chek", "allowed: a link file, or one of `fewwire --help`; did you mean 'check'?\n"),
        ("qqqq", "allowed: a link file, or one of `fewwire --help`\n"),
        ("nowhere.toml", "fewwire: nowhere.toml: found no such file; allowed: a link file\n"),
    ],
)
def test_a_word_that_is_no_command(word: str, said: str) -> None:
    result = ask(word)

    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    assert result.stderr.endswith(said)


# -- quiet ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "status", "line"),
    [
        (("check", CARILLON), 0, "holds"),
        (("check", PUPPETS), 1, "fails kind=ghost output=moon tick=4"),
        (("spacing", CARILLON), 0, "holds spacing_ticks=16"),
        (("latency", CARILLON), 0, "holds best_ticks=3 worst_ticks=15"),
        ((CARILLON,), 0, "holds spacing_ticks=16 best_ticks=3 worst_ticks=15"),
        (("lifetime", CARILLON), 0, "holds forever=true"),
        (("table", PUPPETS), 1, "fails kind=ghost output=dragon tick=12"),
        (("check", CARILLON, "--engine", "simulator", "--time", "0.2"), 3, "undecided"),
    ],
)
def test_quiet_is_one_line(arguments: tuple[str, ...], status: int, line: str) -> None:
    result = ask(*arguments, "--quiet")

    assert (result.exit_code, result.stdout, result.stderr) == (status, f"{line}\n", "")


def test_a_name_with_spaces_stays_one_value(tmp_path: Path) -> None:
    text = Path(PUPPETS).read_text(encoding="utf-8").replace("moon", "new moon")
    path = tmp_path / "link.toml"
    path.write_text(text, encoding="utf-8")

    assert ask("check", str(path), "-q").stdout == "fails kind=ghost output='new moon' tick=4\n"


# -- terminals and pipes ------------------------------------------------------------


def on_terminal(*arguments: str, **env: str) -> tuple[str, str]:
    """What a command writes to a terminal: on stdout, on stderr."""
    shown = []
    ends = [pty.openpty(), pty.openpty()]
    base = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "CLICOLOR")}
    process = subprocess.Popen(
        [sys.executable, "-m", "verify.cli", *arguments],
        stdout=ends[0][1],
        stderr=ends[1][1],
        env={**base, "TERM": "xterm", "COLUMNS": "80", **env},
    )
    for _, slave in ends:
        os.close(slave)
    for master, _ in reversed(ends):
        text = b""
        try:
            while block := os.read(master, 65536):
                text += block
        except OSError:
            pass  # Linux says so when the other end has gone
        shown.insert(0, text.decode())
        os.close(master)
    process.wait(timeout=30)
    return shown[0], shown[1]


def test_a_terminal_shows_progress_and_a_pipe_does_not() -> None:
    out, err = on_terminal("check", CARILLON)
    piped = ask("check", CARILLON)

    assert "states" in err
    assert "exploring" not in out
    assert piped.stderr == ""
    assert ESCAPE not in piped.stdout


COLOUR = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-7]|9[0-7]|4[0-7]|38|48)(?:;\d+)*m")


@pytest.mark.parametrize(
    ("env", "coloured"),
    [
        ({}, True),
        ({"NO_COLOR": ""}, True),
        ({"NO_COLOR": "1"}, False),
        ({"CLICOLOR": "0"}, False),
        ({"CLICOLOR": "1"}, True),
    ],
)
def test_colours_can_be_turned_off(env: dict[str, str], coloured: bool) -> None:
    # Common practice: no-color.org, and CLICOLOR beside it.
    out, _ = on_terminal("manual", "check", **env)

    assert "fewwire check" in out
    assert bool(COLOUR.search(out)) == coloured


def test_escape_codes_in_a_pipe_only_if_forced() -> None:
    assert ESCAPE not in ask("check", CARILLON).stdout
    assert ESCAPE in ask("check", CARILLON, CLICOLOR_FORCE="1").stdout
    assert not COLOUR.search(ask("check", CARILLON, CLICOLOR_FORCE="1", NO_COLOR="1").stdout)


# -- shells -------------------------------------------------------------------------


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_prints_a_script(shell: str) -> None:
    script = ask("completion", shell).stdout

    assert f"_FEWWIRE_COMPLETE={shell}_complete" in script
    if shell == "bash":
        subprocess.run(["bash", "-n"], input=script, text=True, check=True)


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
@pytest.mark.parametrize(
    ("word", "reply"),
    [("spa", ["spacing"]), ("ca", []), ("c", ["check", "compare", "completion", "car.toml"])],
)
def test_bash_itself_completes_commands_and_link_files(
    word: str, reply: list[str], tmp_path: Path
) -> None:
    """Where nothing is replied it offers files by itself."""
    (tmp_path / "car.toml").touch()
    script = ask("completion", "bash").stdout
    script += f"compopt() {{ :; }}\nCOMP_WORDS=(fewwire {word}); COMP_CWORD=1\n"
    script += 'COMPREPLY=(); _fewwire_completion fewwire; printf "%s\\n" "${COMPREPLY[@]}"\n'
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    done = subprocess.run(
        ["bash", "--norc"],
        input=script,
        text=True,
        capture_output=True,
        cwd=tmp_path,
        env={**os.environ, "PATH": path},
        check=True,
    )
    assert done.stdout.split() == reply


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        ("sp", {"plain,spacing", "file,sp"}),
        ("check ca", {"file,ca"}),
        ("margin x.toml --of clock.o", {"plain,clock.offset"}),
        (f"{CARILLON} --q", {"plain,--quiet"}),
        (f"table {CARILLON} --pair a", {"plain,a"}),
        (f"table {CARILLON} --pair a b", {"plain,b"}),
        ("table nowhere.toml --pair a", set()),
        ("manual js", {"plain,json"}),
        ("completion f", {"plain,fish"}),
    ],
)
def test_shells_are_offered_what_fits(words: str, offered: set[str]) -> None:
    env = {
        "_FEWWIRE_COMPLETE": "bash_complete",
        "COMP_WORDS": f"fewwire {words}",
        "COMP_CWORD": str(len(words.split())),
    }
    result = CliRunner().invoke(main, env=env, prog_name="fewwire")

    assert set(result.output.split()) == offered
