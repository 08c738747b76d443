"""What to build: delays split into the fewest elements, and sheets that add up."""

from __future__ import annotations

import csv
import io
import json
import re
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

import models
from verify.cli import main
from verify.errors import LinkFileError
from verify.linkfile import load_with_stock, parse, parse_with_stock
from verify.questions.sheet import Sheet, sheet
from verify.questions.splitting import MOST_STEPS, Splitter, TooLongError
from verify.reports.sheet_data import sheet_csv, sheet_json
from verify.reports.sheet_text import elements_text, sheet_markdown

LINKS = Path(models.__file__).parent / "links"

BELLS = """
tick = "50 ms"
[inputs]
names = ["low", "high", "great"]
[link]
scheme = "pulse-gap"
gaps = [3, 8, 13]
"""
TURNED = '\n[outputs]\norder = ["great", "low", "high"]\n'
TWO_TOWERS = "\n[line]\nbranches = [0, 9]\n"


def made(text: str) -> Sheet:
    return sheet(*parse_with_stock(text, "bells.toml", "bells"), "bells.toml")


# -- splitting ---------------------------------------------------------------------

sizes_of = st.lists(st.integers(1, 12), min_size=1, max_size=4, unique=True)


def brute_force(sizes: list[int], ticks: int) -> int | None:
    """Least number of elements, by trying every number of the first size, then of the next."""

    @cache
    def least(rest: int, k: int) -> int | None:
        if k == len(sizes):
            return 0 if rest == 0 else None
        found = (
            (many, least(rest - many * sizes[k], k + 1)) for many in range(rest // sizes[k] + 1)
        )
        return min((many + more for many, more in found if more is not None), default=None)

    return least(ticks, 0)


@given(sizes_of, st.integers(0, 300))
def test_fewest_elements_as_by_brute_force(sizes: list[int], ticks: int) -> None:
    split = Splitter(sizes, ticks).split(ticks)
    least = brute_force(sizes, ticks)

    if split is None:
        assert least is None
        return
    assert sum(size * many for size, many in split) == ticks
    assert sum(many for _, many in split) == least
    assert {size for size, _ in split} <= set(sizes)
    assert [size for size, _ in split] == sorted((size for size, _ in split), reverse=True)


@given(sizes_of, st.integers(1, 60), st.sampled_from([1, 7, 1000]))
def test_the_nearest_that_can_be_made(sizes: list[int], ticks: int, unit: int) -> None:
    """Also of sizes with a common divisor, which the table is divided by."""
    splitter = Splitter([size * unit for size in sizes], ticks * unit)
    below, above = splitter.nearest(ticks * unit)

    reachable = [t for t in range(1, ticks + 13) if brute_force(sizes, t) is not None]
    assert below == max((t * unit for t in reachable if t < ticks), default=None)
    assert above == min(t * unit for t in reachable if t > ticks)


def test_a_greedy_choice_is_not_the_fewest() -> None:
    assert Splitter([4, 3, 1], 6).split(6) == ((3, 2),)
    # Of two splits with the fewest elements, the one with the largest element.
    assert Splitter([1, 2, 3, 4], 6).split(6) == ((4, 1), (2, 1))


def test_long_delays_take_no_longer() -> None:
    long = Splitter([7, 11], 10**9)

    assert long.end < 200
    assert long.split(10**9) == ((11, (10**9 - 7 * 3) // 11), (7, 3))
    assert Splitter([1_000_000, 250_000], 10**12).split(10**12) == ((1_000_000, 1_000_000),)
    with pytest.raises(TooLongError):
        Splitter([1, MOST_STEPS], MOST_STEPS)


# -- sheets ------------------------------------------------------------------------


def test_rows_and_parts_of_bells() -> None:
    found = made(BELLS + TURNED + TWO_TOWERS + "\n[parts]\ndelays = [1, 2, 3, 4]\n")

    assert [(r.input, r.output_number, r.output) for r in found.rows] == [
        ("low", 3, "great"),
        ("high", 1, "low"),
        ("great", 2, "high"),
    ]
    each = [elements_text(r.delays["transmitter"].elements) for r in found.rows]
    assert each == ["3", "4+4", "4+4+4+1"]
    assert [elements_text(r.delays["receiver"].elements) for r in found.rows] == each
    assert [elements_text(b.elements) for b in found.branches] == ["", "4+4+1"]
    # One transmitter, a receiver at each of two branches, and the longer branch itself.
    assert found.elements == ((4, 3 * 5 + 2), (3, 3 * 1), (2, 0), (1, 3 * 1 + 1))
    assert found.all_elements == 24
    assert found.outputs == 6


@given(
    st.lists(st.integers(2, 60), min_size=1, max_size=6, unique=True),
    st.lists(st.integers(0, 20), min_size=1, max_size=3),
    sizes_of,
)
def test_the_parts_are_the_ticks_of_all_delays(
    gaps: list[int], branches: list[int], sizes: list[int]
) -> None:
    text = (
        f'tick = "1 ms"\n[link]\nscheme = "pulse-gap"\ngaps = {gaps}\n'
        f"[line]\nbranches = {branches}\n[parts]\ndelays = {sorted({*sizes, 1})}\n"
    )
    found = made(text)

    assert sum(size * many for size, many in found.elements) == (
        sum(gaps) * (1 + len(branches)) + sum(branches)
    )


def test_delays_of_one_tick_where_nothing_is_said() -> None:
    found = made(BELLS)
    assert found.elements == ((1, 48),)
    assert elements_text(found.rows[2].delays["receiver"].elements) == "13x1"
    assert made(BELLS + '\n[parts]\ndelays = ["50 ms"]').elements == found.elements


@pytest.mark.parametrize("path", sorted(LINKS.glob("*.toml")), ids=lambda p: p.stem)
def test_every_link_that_is_shipped_has_a_sheet(path: Path) -> None:
    if re.search(r"^\[code\]|^ask = ", path.read_text(encoding="utf-8"), re.MULTILINE):
        pytest.skip("a file of code words, or a sweep")
    found = sheet(*load_with_stock(path), str(path))

    link = found.link
    if link.scheme_name != "pulse-gap":
        assert found.all_elements == 0
    assert sheet_markdown(found).count(f"| {link.inputs} | ") >= 1
    assert json.loads(json.dumps(sheet_json(found)))["parts"]["lines"] == link.scheme.lines


def test_how_codes_are_wired() -> None:
    for path, column, first in (
        ("stage_lamps.toml", "drives lines", ["1+2", "1+3", "2+3"]),
        ("weather_mast.toml", "bits as sent", ["0000", "1000", "0100"]),
    ):
        found = sheet(*load_with_stock(LINKS / path), path)
        assert [row.words[column] for row in found.rows[:3]] == first
        key = column.replace(" ", "_")
        assert [row[key] for row in sheet_json(found)["inputs"][:3]] == first


def test_the_engines_know_nothing_of_parts() -> None:
    assert parse(BELLS, "b") == parse(BELLS + "\n[parts]\ndelays = [2]", "b")


# -- as text -----------------------------------------------------------------------


def markdown_tables(text: str) -> list[list[list[str]]]:
    """Cells of every table."""
    tables: list[list[list[str]]] = [[]]
    for line in text.splitlines():
        if line.startswith("|"):
            cells = [cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]]
            tables[-1].append(cells)
        elif tables[-1]:
            tables.append([])
    return [table for table in tables if table]


def test_markdown_has_the_tables() -> None:
    text = sheet_markdown(made(BELLS + TURNED + TWO_TOWERS + "\n[parts]\ndelays = [1, 4]"))
    inputs, branches, parts = markdown_tables(text)

    assert inputs[0][:4] == ["no.", "input", "output no.", "output"]
    assert inputs[2][:5] == ["1", "low", "3", "great", "3 ticks (150 ms)"]
    assert inputs[4][-1] == "4+4+4+1"
    assert branches[3] == ["2", "9 ticks (450 ms)", "4+4+1"]
    assert ["delay element of 4 ticks (200 ms)", "17"] in parts
    assert parts[-1][1] == str(17 + 3 * 3 + 3 + 1)
    assert "isolated, current-limited" in text
    assert "licensed practice" in text


def test_names_with_marks_do_not_break_the_table() -> None:
    text = BELLS.replace('"low"', '"a|b*_<c>"')
    (inputs, _) = markdown_tables(sheet_markdown(made(text)))
    assert {len(row) for row in inputs} == {len(inputs[0])}
    assert inputs[2][1] == r"a\|b\*\_\<c\>"


def test_the_csv_parses_back() -> None:
    found = made(BELLS.replace('"low"', '"lo,w \\"1\\""') + TURNED.replace('"low"', "1"))
    rows = list(csv.DictReader(io.StringIO(sheet_csv(found))))

    inputs = [row for row in rows if row["row"] == "input"]
    assert [row["input"] for row in inputs] == ['lo,w "1"', "high", "great"]
    assert [int(row["gap_ticks"]) for row in inputs] == [3, 8, 13]
    assert [int(row["output_number"]) for row in inputs] == [3, 1, 2]
    parts = {row["part"]: int(row["count"]) for row in rows if row["row"] == "part"}
    assert parts == {"line": 1, "input": 3, "output": 3, "delay element": 48}


# -- the command, and what it refuses ----------------------------------------------


def run(*args: str) -> Result:
    return CliRunner().invoke(main, ["sheet", *args])


def test_files_are_written_whole_or_not_at_all(tmp_path: Path) -> None:
    link, out, table = tmp_path / "b.toml", tmp_path / "b.md", tmp_path / "b.csv"
    link.write_text(BELLS)

    plain = run(str(link))
    written = run(str(link), "-o", str(out), "--csv", str(table))
    assert (plain.exit_code, written.exit_code) == (0, 0)
    assert written.stdout == ""
    assert out.read_text() == plain.stdout
    assert table.read_text().startswith("row,number,input,")

    again = run(str(link), "-o", str(tmp_path / "new.md"), "--csv", str(table))
    assert again.exit_code == 2
    assert "allowed: a new name, or --force" in again.stderr
    assert not (tmp_path / "new.md").exists()
    assert run(str(link), "-o", str(out), "--csv", str(table), "--force").exit_code == 0
    twice = run(str(link), "-o", str(out), "--csv", str(out), "--force")
    assert (twice.exit_code, "named twice" in twice.stderr) == (2, True)
    over = run(str(link), "-o", str(link), "--force")
    assert (over.exit_code, link.read_text()) == (2, BELLS)


def test_json_is_one_object(tmp_path: Path) -> None:
    link = tmp_path / "b.toml"
    link.write_text(BELLS + "[parts]\ndelays = [1, 4]\n")
    found = json.loads(run(str(link), "--json").stdout)

    assert found["inputs"][1]["delays"]["receiver"] == {
        "ticks": 8,
        "s": 0.4,
        "elements": [{"ticks": 4, "count": 2}],
    }
    assert found["parts"]["delay_elements_in_all"] == sum(
        part["count"] for part in found["parts"]["delay_elements"]
    )


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        (
            "delays = [4, 5]",
            'parts.delays: found [4, 5], of which 3 ticks (150 ms) cannot be made ("low" at the '
            "transmitter); allowed: sizes that add up to every delay; nearest 4 ticks (200 ms)",
        ),
        (
            "delays = [3, 5]\n[line]\nbranches = [0, 7]",
            "parts.delays: found [3, 5], of which 7 ticks (350 ms) cannot be made (branch 2 of "
            "the line); allowed: sizes that add up to every delay; nearest 6 ticks (300 ms) or "
            "8 ticks (400 ms)",
        ),
        (
            "delays = [6]",
            'parts.delays: found [6], of which 3 ticks (150 ms) cannot be made ("low" at the '
            "transmitter); allowed: sizes that add up to every delay; nearest 6 ticks (300 ms) "
            "(and 2 more delays)",
        ),
        ("delays = []", "parts.delays: found []; allowed: a list of 1 to 64 sizes, each a whole"),
        ("delays = [1, 0]", "parts.delays[1]: found 0; allowed: a whole number of ticks, at least"),
        ("delays = [1, 2, 1]", "parts.delays[2]: found 1; allowed: a size of its own; delays[0]"),
        ('delays = ["60 ms"]', 'parts.delays[0]: found "60 ms"; allowed: a whole number of ticks '),
        ("delays = 1", "parts.delays: found 1; allowed: a list of 1 to 64 sizes"),
        ("sizes = [1]", "parts.sizes: found an unknown key; allowed: delays"),
        ("delays = [1, 5000001]", "allowed: sizes with a larger common divisor, or fewer"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(tmp_path: Path, parts: str, message: str) -> None:
    link = tmp_path / "b.toml"
    link.write_text(f"{BELLS}\n[parts]\n{parts}\n")
    done = run(str(link))

    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.startswith(f"fewwire: {link}: ")
    assert message in done.stderr
    assert done.stderr.count("\n") == 1


def test_other_questions_refuse_bad_parts_too() -> None:
    with pytest.raises(LinkFileError, match=r"parts\.delays"):
        parse(BELLS + "\n[parts]\ndelays = [0]", "b.toml")
