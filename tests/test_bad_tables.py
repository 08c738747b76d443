"""Tables that cannot be: every command says in one line which entry it is, and why."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from verify.cli import main


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, arguments)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def link_file(folder: Path, scheme: str, names: int, keys: str) -> str:
    path = folder / "bells.toml"
    path.write_text(
        f'tick = "50 ms"\n[inputs]\ncount = {names}\n[link]\nscheme = "{scheme}"\n{keys}\n'
        "[operator]\nspacing = 40\nhold = 3\n"
    )
    return str(path)


def word_file(folder: Path, keys: str) -> str:
    path = folder / "words.toml"
    path.write_text(f'tick = "50 ms"\n[code]\n{keys}\n')
    return str(path)


def refused(result: Result, *said: str) -> None:
    assert result.exit_code == 2, result.output
    (line,) = result.stderr.splitlines()
    for part in said:
        assert part in line


# Scheme, inputs, keys, and what the one line names: the entry, what was found, why not.
IMPROPER = [
    ("pulse-gap", 3, "gaps = [3, 5.5, 7]", "link.gaps[1]: found 5.5; allowed: a whole number"),
    ("pulse-gap", 3, 'gaps = [3, "5", 7]', 'link.gaps[1]: found "5"; allowed: a whole number'),
    ("pulse-gap", 3, 'gaps = [3, "75 ms", 7]', "nearest 50 ms (1) or 100 ms (2)"),
    ("pulse-gap", 3, "gaps = [3, true, 7]", "link.gaps[1]: found true; allowed: a whole number"),
    ("pulse-gap", 3, "gaps = [3, 0, 7]", "link.gaps[1]: found 0; allowed: a whole number of"),
    ("pulse-gap", 3, "gaps = [3, -4, 7]", "link.gaps[1]: found -4; allowed: a whole number"),
    ("pulse-gap", 3, "gaps = [3, [5], 7]", "link.gaps[1]: found [5]; allowed: a whole number"),
    ("pulse-gap", 3, "gaps = []", "link.gaps: found []; allowed: at least one gap"),
    ("pulse-gap", 3, "gaps = [3, 5]", "link.gaps: found 2 entries; allowed: 3, one per input"),
    ("pulse-gap", 2, "gaps = [3, 99999999999999]", "at most 1000000000000 ticks"),
    ("parallel-code", 3, "codes = [1, 2.5, 3]", "link.codes[1]: found 2.5; allowed: a whole"),
    ("parallel-code", 3, "codes = [1, -2, 3]", "link.codes[1]: found -2; allowed: a whole"),
    ("parallel-code", 2, 'codes = ["01", "0x"]', 'link.codes[1]: found "0x"; allowed: a whole'),
    (
        "parallel-code",
        3,
        "codes = [1, 9, 3]\nlines = 3",
        "link.codes[1]: found 9; allowed: at most",
    ),
    ("parallel-code", 2, 'codes = ["01", "111"]\nlines = 2', "exactly 2 digits, one per line"),
    ("parallel-code", 3, "codes = []", "link.codes: found []; allowed: at least one code"),
    ("parallel-code", 8, "lines = 3", "link.lines: found 3; allowed: at least 4 for 8 inputs"),
    ("framed-serial", 5, "bit = 4\nwidth = 2", "link.width: found 2; allowed: at least 3 for 5"),
    ("framed-serial", 2, "bit = 4\nwidth = 2\ncodes = [1, 5]", "link.codes[1]: found 5; allowed"),
]


@pytest.mark.parametrize("command", ["check", "table"])
@pytest.mark.parametrize(("scheme", "inputs", "keys", "said"), IMPROPER)
def test_an_entry_that_is_no_entry_is_refused(
    command: str, scheme: str, inputs: int, keys: str, said: str, tmp_path: Path
) -> None:
    refused(run(command, link_file(tmp_path, scheme, inputs, keys)), "bells.toml", said)


# Entries that are proper each by itself: `check` refuses the file, `table` judges it.
@pytest.mark.parametrize(
    ("scheme", "inputs", "keys", "refusal", "fault"),
    [
        (
            "pulse-gap",
            3,
            "gaps = [3, 5, 3]",
            "link.gaps[2]: found 3; allowed: a gap of its own; gaps[0] is 3 too",
            "gaps[0] and gaps[2] are both 3",
        ),
        (
            "pulse-gap",
            2,
            "gaps = [3, 5]\npulse = 3",
            "link.gaps[0]: found 3; allowed: more than pulse, which is 3",
            "gaps[0] is 3, not above pulse, which is 3",
        ),
        (
            "parallel-code",
            3,
            'codes = ["001", "010", "001"]',
            'link.codes[2]: found "001"; allowed: a code of its own; codes[0] is the same',
            "codes[0] and codes[2] are the same",
        ),
        (
            "parallel-code",
            2,
            "codes = [1, 0]",
            "link.codes[1]: found 0; allowed: any code but 0",
            "codes[1] drives no line: that is idle",
        ),
        (
            "framed-serial",
            2,
            "bit = 4\ncodes = [1, 1]",
            "link.codes[1]: found 1; allowed: a code of its own; codes[0] is the same",
            "codes[0] and codes[1] are the same",
        ),
    ],
)
def test_entries_that_do_not_go_together(
    scheme: str, inputs: int, keys: str, refusal: str, fault: str, tmp_path: Path
) -> None:
    path = link_file(tmp_path, scheme, inputs, keys)
    refused(run("check", path), refusal)

    judged = run("table", path)

    assert judged.exit_code == 1
    assert judged.output.startswith("fails: ")
    assert fault in judged.output


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("words = []", "code.words: found []; allowed: at least one word"),
        ('words = ["01", ""]', 'code.words[1]: found ""; allowed: symbols in quotes'),
        ('words = ["01", 1.5]', "code.words[1]: found 1.5; allowed: symbols in quotes"),
        ("words = [[1, 3], []]", "code.words[1]: found []; allowed: symbols in quotes"),
        ("words = [[1, 3], [1, 1, 3]]", "code.words[1]: found 3 entries; allowed: an even number"),
        ("words = [[1, 3], [1, 1.5]]", "code.words[1][1]: found 1.5; allowed: a whole number"),
        ("words = [[1, 3], [1, 0]]", "code.words[1][1]: found 0; allowed: a whole number"),
        ("words = [[1, 3], [-1, 3]]", "code.words[1][0]: found -1; allowed: a whole number"),
        ('words = [[1, 3], "01"]', 'code.words[1]: found "01"; allowed: words of one kind'),
        ('words = ["0", "1"]\nnames = ["a"]', "code.names: found 1 entry; allowed: 2, one per"),
    ],
)
def test_a_word_that_is_no_word_is_refused(keys: str, said: str, tmp_path: Path) -> None:
    path = word_file(tmp_path, keys)
    refused(run("table", path), "words.toml", said)
    refused(run("check", path), "code: found an unknown key", "judged by `fewwire table`")


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('words = ["01", "1", "01"]', "words[0] and words[2] are the same"),
        ("words = [[1, 3], [1, 3]]", "words[0] and words[1] are the same"),
        ("words = [[1, 3], [1, 4]]\nwindow = 1", "words[0] and words[1] may look the same"),
    ],
)
def test_words_that_are_there_twice(keys: str, said: str, tmp_path: Path) -> None:
    judged = run("table", word_file(tmp_path, keys))

    assert judged.exit_code == 1
    assert said in judged.output


def test_a_table_of_one_entry_is_fine(tmp_path: Path) -> None:
    for scheme, keys in (
        ("pulse-gap", "gaps = [4]"),
        ("parallel-code", "codes = [1]"),
        ("framed-serial", "bit = 4"),
    ):
        path = link_file(tmp_path, scheme, 1, keys)
        assert [run(command, path).exit_code for command in ("check", "table")] == [0, 0]
    assert run("table", word_file(tmp_path, 'words = ["01"]')).exit_code == 0


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ("--inputs 0", "--inputs: found 0; allowed: 2 to 2000"),
        ("--inputs -3", "--inputs: found -3; allowed: 2 to 2000"),
        ("--inputs 1", "one input needs no table, a line of its own carries it"),
        ("--inputs 2.5", '--inputs: found "2.5"; allowed: a whole number'),
        ("--inputs many", '--inputs: found "many"; allowed: a whole number'),
        ("--inputs 2001", "--inputs: found 2001; allowed: 2 to 2000"),
        ("--inputs 66 --overlap any", "at most 65 with --overlap any"),
        ("--inputs 3 --pulse 0", '--pulse: found "0"; allowed: a whole number of ticks, at least'),
        ("--inputs 3 --jitter -1", '--jitter: found "-1"; allowed: a whole number of ticks'),
        ("--inputs 3 --jitter 1.5", '--jitter: found "1.5"; allowed: a whole number of ticks'),
        ("--inputs 3 --within-length 0", '--within-length: found "0"; allowed: a whole number'),
        (
            "--inputs 3 --scheme parallel-code --lines 0",
            "--lines: found 0; allowed: a whole number",
        ),
        ("--inputs 3 --scheme parallel-code --held 4", "--held: found 4; allowed: a whole number"),
        ("--inputs 3 --scheme parallel-code --held 1.5", '--held: found "1.5"; allowed: a whole'),
    ],
)
def test_what_cannot_be_designed_is_refused(options: str, said: str) -> None:
    refused(run("design", *options.split()), said)


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (
            "--inputs 3 --within-length 3",
            "2 are all there are; the next could be no shorter than 4",
        ),
        ("--inputs 8 --scheme parallel-code --lines 3", "3 lines show 7 patterns besides idle"),
        ("--inputs 7 --scheme parallel-code --skew 1 --lines 4", "at most C(4, 2) = 6 codes"),
        ("--inputs 9 --scheme parallel-code --held 2 --lines 8", "for 9 inputs"),
    ],
)
def test_more_inputs_than_any_table_of_that_size_carries(options: str, why: str) -> None:
    result = run("design", *options.split())

    assert result.exit_code == 1
    told = " ".join(result.output.split())
    assert told.startswith("none: ")
    assert why in told
