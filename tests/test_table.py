"""Command ``table``: verdicts, what it says, bad input, the width of its output."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import models
from verify.cli import main

LINKS = Path(models.__file__).parent / "links"


def table(tmp_path: Path, text: str, *options: str) -> Result:
    file = tmp_path / "mine.toml"
    file.write_text(text, encoding="utf-8")
    return run(str(file), *options)


def run(*arguments: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(main, ["table", *arguments])


def answer(result: Result) -> dict[str, object]:
    found = json.loads(result.stdout)
    assert isinstance(found, dict)
    return found


GAPS = 'tick = "50 ms"\n[link]\nscheme = "pulse-gap"\n'
CODES = 'tick = "50 ms"\n[link]\nscheme = "parallel-code"\n'
FRAMES = 'tick = "50 ms"\n[link]\nscheme = "framed-serial"\nbit = 4\n'


# -- verdicts ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "status", "form"),
    [
        ("carillon", 0, "gaps"),
        ("carillon_two_towers", 0, "gaps"),
        ("infrared_bits", 0, "gaps"),
        ("puppet_theatre", 1, "gaps"),
        ("stage_lamps", 0, "codes"),
        ("weather_mast", 0, "frames"),
        ("morse", 0, "words"),
        ("morse_run_together", 1, "words"),
    ],
)
def test_shipped_files(name: str, status: int, form: str) -> None:
    told, shown = (run(str(LINKS / f"{name}.toml"), *more) for more in ([], ["--json"]))
    found = answer(shown)

    assert told.exit_code == shown.exit_code == status
    assert told.stderr == shown.stderr == ""
    assert found["question"] == "table"
    assert found["form"] == form
    assert found["verdict"] == ("holds", "fails")[status]
    assert told.stdout.startswith(f"{found['verdict']}: ")
    assert (found["faults"] == []) == (status == 0)


@pytest.mark.parametrize(
    ("text", "entries", "why"),
    [
        (GAPS + "gaps = [3, 6, 3]", [0, 2], "gaps[0] and gaps[2] are both 3"),
        (GAPS + "gaps = [3, 1]", [1], "gaps[1] is 1, not above pulse"),
        (GAPS + "gaps = [3, 6]\nwindow = 2", [0, 1], "both take 4 to 5"),
        (GAPS + "gaps = [3]\nwindow = 3", [0], "starts at 0, below 1"),
        (GAPS + "gaps = [3]\n[line]\njitter = 1", [0], "may miss its own window by 1 tick"),
        (CODES + "codes = [1, 2, 1]", [0, 2], "codes[0] and codes[2] are the same"),
        (CODES + "codes = [1, 0]", [1], "codes[1] drives no line: that is idle"),
        (CODES + "codes = [1, 2, 1, 2]\nlines = 2", [], "4 codes: 2 lines carry at most 3"),
        (FRAMES + "codes = [1, 0, 1]", [0, 2], "codes[0] and codes[2] are the same"),
        (FRAMES + "codes = [1, 0, 1]\nwidth = 1", [], "3 codes: 1 bit tells at most 2"),
        ('[code]\nwords = ["0", "0"]', [0, 1], "words[0] and words[1] are the same"),
    ],
)
def test_faults_of_a_table_are_judged_not_refused(
    tmp_path: Path, text: str, entries: list[int], why: str
) -> None:
    told, shown = table(tmp_path, text), table(tmp_path, text, "--json")
    found = answer(shown)

    assert told.exit_code == shown.exit_code == 1
    assert found["verdict"] == "fails"
    faults = [fault for fault in found["faults"] if why in fault["why"]]  # type: ignore[attr-defined]
    assert [fault["entries"] for fault in faults] == [entries]
    if "[code]" not in text:
        assert why in " ".join(told.stdout.split())


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (GAPS + "gaps = []", "link.gaps: found []; allowed: at least one gap"),
        (GAPS + "gaps = [3, -4]", "link.gaps[1]: found -4; allowed: a whole number of ticks"),
        (GAPS + "gaps = [3, 0]", "link.gaps[1]: found 0; allowed: a whole number of ticks"),
        (GAPS + "gaps = [3, 4.5]", "link.gaps[1]: found 4.5; allowed: a whole number of ticks"),
        (GAPS + 'gaps = [3, "75 ms"]', 'link.gaps[1]: found "75 ms"; allowed: a whole number'),
        (GAPS + "gaps = [3, 5]\nwindow = [1]", "link.window: found 1 entry; allowed: 2"),
        (CODES + "codes = []", "link.codes: found []; allowed: at least one code"),
        (CODES + "codes = [1, 9]\nlines = 3", "link.codes[1]: found 9; allowed: at most 7"),
        (CODES + 'codes = ["01", "011"]\nlines = 2', 'link.codes[1]: found "011"; allowed: exa'),
        (CODES + "lines = 2\n[inputs]\ncount = 4", "link.lines: found 2; allowed: at least 3"),
        (FRAMES + "width = 1\n[inputs]\ncount = 3", "link.width: found 1; allowed: at least 2"),
        ('tick = "1 s"\n[link]\nscheme = "wire-per-input"\n[inputs]\ncount = 2', "has no table"),
        ("[code]\nwords = []", "code.words: found []; allowed: at least one word"),
        ("[code]\nwords = 3", "code.words: found 3; allowed: a list of code words"),
        ("[code]\n", "code.words: found nothing; allowed: a list of code words"),
        ('[code]\nwords = ["a", ""]', 'code.words[1]: found ""; allowed: symbols in quotes'),
        ('[code]\nwords = ["a", 5]', "code.words[1]: found 5; allowed: symbols in quotes"),
        ('[code]\nwords = ["a", [1, 1]]', "code.words[1]: found [1, 1]; allowed: words of one"),
        ("[code]\nwords = [[1, 1, 1]]", "code.words[0]: found 3 entries; allowed: an even number"),
        ("[code]\nwords = [[1, 0]]", "code.words[0][1]: found 0; allowed: a whole number of tic"),
        ("[code]\nwords = [[1, 2.5]]", "code.words[0][1]: found 2.5; allowed: a whole number of"),
        ('[code]\nwords = [["5 ms", 2]]', "tick: found nothing; allowed: a quoted duration"),
        ('[code]\nwords = ["a"]\nnames = []', "code.names: found 0 entries; allowed: 1"),
        (
            '[code]\nwords = ["a", "b"]\nnames = ["x", "x"]',
            'code.names[1]: found "x"; allowed: a name of its own',
        ),
        ('[code]\nwords = ["a"]\nwindow = 1', "code.window: found 1; allowed: no key"),
        ('[code]\nwords = ["a"]\n[line]\njitter = 1', "line.jitter: found 1; allowed: no key"),
        ("[code]\nwords = [[2, 3]]\n[line]\njitter = 2", "line.jitter: found 2; allowed: less"),
        (
            "[code]\nwords = [[2, 3]]\n[clock]\nrate = [0.1, -0.1]",
            "clock.rate: found [0.1, -0.1]; allowed: a relative error x",
        ),
        ('[code]\nwords = ["a"]\nwrods = 1', "code.wrods: found an unknown key; allowed: words"),
        ("code = 5", "code: found 5; allowed: a table [code]"),
        ('tick = 5\n[code]\nwords = ["a"]', "tick: found 5; allowed: a quoted duration above 0"),
        ('tick = "0 s"\n[code]\nwords = ["a"]', 'tick: found "0 s"; allowed: a quoted duration'),
        ("[code", "found text that is not TOML"),
    ],
)
def test_faults_of_form_are_one_line_and_exit_2(tmp_path: Path, text: str, message: str) -> None:
    result = table(tmp_path, text)

    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    assert result.stderr.startswith("fewwire: ")
    assert "mine.toml: " in result.stderr
    assert message in result.stderr


def test_pairs_are_of_gaps_and_of_inputs_that_there_are(tmp_path: Path) -> None:
    puppets = str(LINKS / "puppet_theatre.toml")
    lamps = run(str(LINKS / "stage_lamps.toml"), "--pair", "moon", "dawn")
    words = table(tmp_path, '[code]\nwords = ["a"]', "--pair", "a", "a")

    assert "did you mean 'moon'?" in run(puppets, "--pair", "lantern", "moo").stderr
    assert "allowed: a pulse-gap link" in lamps.stderr
    assert "allowed: a pulse-gap link" in words.stderr
    assert lamps.exit_code == words.exit_code == 2

    found = answer(run(puppets, "--pair", "lantern", "trapdoor", "--json"))
    listed = found["ghosts"]["listed"]  # type: ignore[index]
    assert {(g["first"], g["second"]) for g in listed} == {("lantern", "trapdoor")}
    assert {"moon"} in [set(g["outputs"]) for g in listed if g["distance_ticks"] == [4, 4]]


# -- what is said ------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        GAPS + f"gaps = {list(range(2, 400, 2))}",
        GAPS + f"gaps = {list(range(50, 4000, 20))}\nwindow = 12",
        CODES + "[inputs]\ncount = 255\n",
        FRAMES + "[inputs]\ncount = 200\n",
        f"[code]\nwords = {[str(n) for n in range(100, 400)]}".replace("'", '"'),
        f"[code]\nwords = {[[n, n + 1] for n in range(1, 300)]}",
        '[code]\nwords = ["ab", "a", "ba"]\nnames = ["a long name", "another one", "a third"]',
        f'[code]\nwords = ["{"ab" * 90}", "{"ab" * 60}", "{"ab" * 150}"]',
    ],
    ids=["gaps", "windows", "codes", "frames", "words", "lengths", "names", "long"],
)
def test_large_tables_are_shortened_and_fit_the_terminal(tmp_path: Path, text: str) -> None:
    result = table(tmp_path, text)

    assert result.exit_code in (0, 1)
    assert all(len(line) <= 80 for line in result.stdout.splitlines())
    assert len(result.stdout.splitlines()) < 110


def test_a_word_that_cannot_be_certain_is_shown_with_its_message(tmp_path: Path) -> None:
    text = '[code]\nwords = ["10", "00", "11", "110"]'
    told, found = table(tmp_path, text), answer(table(tmp_path, text, "--json"))

    assert told.exit_code == 0
    assert "unbounded: a message that begins 110 and goes on 0," in told.stdout
    assert found["delay"] == {"bounded": False, "symbols": None, "before": "110", "again": "0"}
    assert found["kraft_sum"] == {"exact": "7/8", "value": 0.875}


def test_the_shortest_ambiguous_message_and_its_readings(tmp_path: Path) -> None:
    text = '[code]\nwords = ["1", "011", "01110", "1110", "10011"]'
    told, found = table(tmp_path, text), answer(table(tmp_path, text, "--json"))

    assert told.exit_code == 1
    assert "The shortest: 111011\n  is: 1 + 1 + 1 + 011\n  and: 1110 + 1 + 1\n" in told.stdout
    assert found["ambiguity"] == {
        "message": "111011",
        "readings": [["1", "1", "1", "2"], ["4", "1", "1"]],
    }


def test_lengths_that_jitter_confuses_make_words_ambiguous(tmp_path: Path) -> None:
    words = 'tick = "1 ms"\n[code]\nwords = [["4 ms", 2], [5, 2]]\n'
    apart, confused = (table(tmp_path, words + more) for more in ("", "[line]\njitter = 1\n"))

    assert (apart.exit_code, confused.exit_code) == (0, 1)
    assert "The shortest: mark 4 gap 2" in confused.stdout
    windows = table(tmp_path, words + "window = 1\n")
    assert windows.exit_code == 1
    missed = table(tmp_path, words + "window = 0\n[line]\njitter = 1\n", "--json")
    assert "may miss its window" in answer(missed)["faults"][0]["why"]  # type: ignore[index]


def test_confusion_need_not_be_transitive(tmp_path: Path) -> None:
    """4 may be taken for 6, and 6 for 8, but not 4 for 8."""
    head = "[line]\njitter = 1\n[code]\nwords = "

    assert table(tmp_path, head + "[[4, 20], [6, 40], [8, 20]]").exit_code == 0
    assert table(tmp_path, head + "[[4, 20], [6, 20], [8, 20]]").exit_code == 1
    assert table(tmp_path, head + "[[4, 20, 8, 20], [6, 20, 6, 20]]").exit_code == 1
    assert table(tmp_path, head + "[[4, 20, 8, 20], [6, 20, 4, 20]]").exit_code == 0


def test_one_input_alone_holds(tmp_path: Path) -> None:
    for text in (
        GAPS + "gaps = [3]\n[operator]\nspacing = 9",
        CODES + "codes = [1]",
        '[code]\nwords = ["a"]',
    ):
        assert table(tmp_path, text).exit_code == 0


def test_disturbances_that_might_make_a_ghost_are_undecided(tmp_path: Path) -> None:
    text = GAPS + 'receiver = "taps"\ngaps = [3, 10]\nwindow = 1\n[line]\njitter = 1\n[operator]\n'
    result = table(tmp_path, text + "spacing = 22")

    assert result.exit_code == 3
    assert result.stdout.startswith("undecided: ")
    assert "fewwire check" in result.stdout


def test_other_questions_say_where_a_file_of_code_words_belongs() -> None:
    result = CliRunner().invoke(main, ["check", str(LINKS / "morse.toml")])

    assert result.exit_code == 2
    assert "is judged by `fewwire table`" in result.stderr
