"""Links side by side: every cell is the answer of a question of its own."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from tests.links import make_link
from verify.cli import main
from verify.engines.answer import Budget, Progress, Verdict
from verify.errors import UsageError
from verify.fastest import fastest, link_file, schemes_for
from verify.linkfile import parse
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.advice import advice
from verify.questions.cell import Cell
from verify.questions.compare import (
    COLUMNS,
    DRIFT,
    FAR_SKEW,
    SPACING,
    Column,
    Row,
    compare,
    is_open,
)
from verify.questions.growth import CURVES, POINTS, curve_links
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies
from verify.questions.lifetime import lifetime
from verify.questions.margin import margin
from verify.questions.rate_margin import rate_margin
from verify.questions.recover import recover
from verify.questions.spacing import least_spacing
from verify.reports import curves
from verify.reports.comparison_data import comparison_csv

LINKS = Path(__file__).parent.parent / "models" / "links"
CARILLON = str(LINKS / "carillon.toml")
TICK = "100 ms"
PRESSED = schemes_for("press")


def ask(*arguments: str, jobs: str = "1") -> Result:
    """``jobs``: starting processes takes longer than what most of these ask."""
    return CliRunner().invoke(main, ["compare", *arguments, "--jobs", jobs])


def rows_of(inputs: int, schemes: tuple[str, ...] = PRESSED, jobs: int = 1) -> list[Row]:
    return compare([fastest(s, inputs, TICK) for s in schemes], Budget(60), jobs=jobs)


# -- cells --------------------------------------------------------------------------


@pytest.mark.parametrize("scheme", schemes_for(None))
@pytest.mark.parametrize("inputs", [1, 2, 3])
def test_a_row_says_what_the_single_questions_say(scheme: str, inputs: int) -> None:
    link = fastest(scheme, inputs, TICK)
    cells = compare([link], Budget(60))[0].cells

    safe = least_spacing(Subject(link), "auto", Progress())
    assert cells["spacing"].amounts == {"least": safe.ticks}
    assert safe.ticks is not None
    at_it = link.with_operator(spacing=safe.ticks)

    found = latencies(Subject(at_it), "auto", Progress())
    assert found.worst is not None
    assert found.best is not None
    spread = found.worst - found.best
    assert cells["latency"].amounts == {
        "best": found.best,
        "worst": found.worst,
        "spread": spread,
    }

    if link.kind == "press":
        held = at_it.with_operator(hold=(1, safe.ticks + 1))
        assert cells["overlap"].verdict is judge(Subject(held), "auto", Progress()).verdict

    for column, of, far in (("offset", "clock.offset", 16), ("skew", "line.skew", FAR_SKEW)):
        if cells[column].verdict is None:
            with pytest.raises(UsageError) as refused:
                margin(at_it, of, "auto", Progress(), far=far)
            assert cells[column] == Cell(None, reason=str(refused.value))
        else:
            most = margin(at_it, of, "auto", Progress(), far=far).most
            assert cells[column].amounts["most"] == most.amount
            assert cells[column].verdict is most.verdict


def test_every_scheme_that_can_be_written_is_compared() -> None:
    from models.parameters import SCHEMES

    assert set(schemes_for(None)) == set(SCHEMES)
    assert set(schemes_for("press")) | set(schemes_for("level")) == set(SCHEMES)


@pytest.mark.parametrize("scheme", schemes_for(None))
def test_what_is_compared_can_be_asked_as_a_file(scheme: str) -> None:
    assert parse(link_file(scheme, 5, TICK), "link.toml") == fastest(scheme, 5, TICK)


def test_answers_are_the_same_with_any_number_of_processes() -> None:
    # What may be cut short depends on how busy the machine is.
    columns = [column for column in COLUMNS if column.seconds is None]
    links = [fastest(scheme, 4, TICK) for scheme in PRESSED]
    one, two = (compare(links, Budget(60), columns=columns, jobs=jobs) for jobs in (1, 2))

    assert one == two


def test_codes_of_keys_held_together_mix_and_wires_do_not() -> None:
    """Common practice, no source."""
    found = {row.link.scheme_name: row.cells["overlap"].verdict for row in rows_of(3)}

    assert found["parallel-code"] is Verdict.FAILS
    assert found["wire-per-input"] is Verdict.HOLDS


def test_a_pause_is_borne_where_nothing_is_timed() -> None:
    """Common practice, no source: what both ends time by clocks of their own, a pause spoils."""
    found = {r.link.scheme_name: r.cells["pause"].verdict for r in rows_of(2, schemes_for(None))}

    timeless = {"wire-per-input", "parallel-code"}
    assert {name for name, verdict in found.items() if verdict is Verdict.HOLDS} == timeless
    assert {v for name, v in found.items() if name not in timeless} == {Verdict.FAILS}


def test_without_a_safe_spacing_nothing_else_makes_sense() -> None:
    # Held for one tick, believed after three: no press ever gets through.
    link = make_link(ParallelCode((1, 2), 2, settle=3), Operator(hold=(1, 1)))
    row = compare([link], Budget(60))[0]

    assert row.cells["spacing"].verdict is Verdict.FAILS
    assert row.spacing is None
    assert {cell.verdict for key, cell in row.cells.items() if key != "spacing"} == {None}
    assert row.cells["skew"].reason == "no spacing is safe"


def column(key: str) -> Column:
    return next(c for c in COLUMNS if c.key == key)


# So long that questions that may take long are answered.
LONG = 600


def test_the_drift_of_a_clock_is_exact_in_its_column() -> None:
    link = make_link(PulseGap((8, 16), 3, (1, 1)), Operator(spacing=40))
    columns = (SPACING, column("drift"))
    row = compare([link], Budget(LONG), columns=columns)[0]
    at_it = link.with_operator(spacing=row.spacing)

    alone = rate_margin(at_it, "auto", Progress())

    assert alone.least.amount is not None
    assert row.cells["drift"].amounts == {
        "least": -alone.least.amount,
        "most": alone.most.amount,
        "lasts": None,
    }
    line = next(csv.DictReader(io.StringIO(comparison_csv([row], columns))))
    assert Fraction(line["drift_most"]) == alone.most.amount
    assert float(line["drift_least_float"]) == -alone.least.amount
    assert line["drift_lasts_ticks"] == ""


def test_a_free_scan_bears_no_drift_and_lasts_as_long_as_its_lifetime() -> None:
    link = fastest("free-scan", 3, TICK)
    row = compare([link], Budget(LONG), columns=(SPACING, column("drift")))[0]
    off = replace(link, clock=replace(link.clock, rate=(-DRIFT, DRIFT)))

    lasting = lifetime(Subject(off.with_operator(spacing=row.spacing)), "auto", Progress())

    assert lasting.ticks is not None
    assert row.cells["drift"].amounts == {"least": 0, "most": 0, "lasts": lasting.ticks}
    nothing = rate_margin(link, "auto", Progress())
    assert (nothing.least.amount, nothing.most.amount) == (0, 0)


@pytest.mark.parametrize("scheme", schemes_for(None))
def test_recovery_is_what_the_question_says(scheme: str) -> None:
    link = fastest(scheme, 2, TICK)
    row = compare([link], Budget(LONG), columns=(SPACING, column("recovery")))[0]
    cell = row.cells["recovery"]

    found = recover(link.with_operator(spacing=row.spacing), "auto", Progress())

    assert cell.verdict is found.verdict
    assert cell.amounts == {"most": found.ticks}


def test_a_synced_scan_is_right_again_and_a_free_one_never() -> None:
    """Common practice, no source: within two frames, and the slot that is sampled."""
    links = [fastest(scheme, 2, TICK) for scheme in ("free-scan", "synced-scan")]
    rows = compare(links, Budget(LONG), jobs=2)
    free, synced = (row.cells["recovery"] for row in rows)

    assert (free.verdict, free.pressed) == (Verdict.FAILS, False)
    assert synced.verdict is Verdict.HOLDS
    assert synced.amounts["most"] is not None
    assert synced.amounts["most"] <= 2 * 2 * 2 + 2
    told = {one.row.link.name: one for one in advice(rows)["level"]}
    assert told["synced-scan"].reasons == ("recovery",)
    assert told["free-scan"].fails == ("recovery",)


def test_out_of_step_for_ever_only_while_keys_are_pressed() -> None:
    """A frame that begins in the middle of another: a pause between presses ends that."""
    row = compare([fastest("framed-serial", 3, TICK)], Budget(LONG))[0]

    assert row.cells["recovery"].verdict is Verdict.FAILS
    assert row.cells["recovery"].pressed


def test_of_seven_levers_nothing_is_left_open() -> None:
    row = compare([fastest("synced-scan", 7, TICK)], Budget(LONG))[0]

    assert all(cell.verdict is not Verdict.UNDECIDED for cell in row.cells.values())
    assert row.cells["recovery"].amounts == {"most": 27}


def test_what_is_cut_short_on_purpose_leaves_the_rest_decided() -> None:
    recovery = replace(next(c for c in COLUMNS if c.key == "recovery"), seconds=0.01)
    columns = [recovery if c.key == "recovery" else c for c in COLUMNS]
    row = compare([fastest("synced-scan", 7, TICK)], Budget(60), columns=columns)[0]

    assert row.cells["recovery"].verdict is Verdict.UNDECIDED
    assert not is_open(row)
    assert is_open(replace(row, cells={**row.cells, "skew": Cell(Verdict.UNDECIDED)}))


def test_what_is_open_when_the_time_is_up_is_undecided() -> None:
    result = ask("--inputs", "12", "--tick", TICK, "--kind", "level", "--time", "0.001", "--json")

    assert result.exit_code == 3
    found = json.loads(result.output)
    assert found["verdict"] == "undecided"
    assert any(link["spacing"]["verdict"] == "undecided" for link in found["links"])


# -- which one to build ---------------------------------------------------------------


def test_advice_for_five_keys() -> None:
    found = {one.row.link.name: one for one in advice(rows_of(5))["press"]}

    assert found["framed-serial"].reasons == ("lines", "overlap")
    assert found["framed-serial"].fails == ("pause", "recovery")
    assert found["parallel-code"].reasons == ("pause", "recovery", "latency")
    assert found["parallel-code"].fails == ("overlap",)
    assert found["wire-per-input"].reasons == ("spacing",)
    behind = found["pulse-gap"].behind
    assert behind is not None
    assert behind.link.name == "framed-serial"


def test_what_is_level_in_everything_is_in_nothing_ahead() -> None:
    found = advice(rows_of(1, ("wire-per-input", "parallel-code")))["press"]

    assert [one.behind and one.behind.link.name for one in found] == [None, "wire-per-input"]


def test_advice_follows_the_figures_and_not_the_names() -> None:
    rows = rows_of(3, ("framed-serial", "pulse-gap"))
    exchanged = [replace(a, cells=b.cells) for a, b in zip(rows, reversed(rows), strict=True)]

    assert [one.row.link.name for one in advice(rows)["press"]] == ["framed-serial", "pulse-gap"]
    assert [one.row.link.name for one in advice(exchanged)["press"]] == [
        "pulse-gap",
        "framed-serial",
    ]


def test_no_advice_between_links_for_different_numbers_of_inputs() -> None:
    assert advice([*rows_of(2, ("pulse-gap",)), *rows_of(3, ("framed-serial",))]) == {}


def test_a_link_about_which_something_is_open_is_left_out() -> None:
    first, *others = rows_of(3)
    unknown = replace(first, cells={**first.cells, "latency": Cell(Verdict.UNDECIDED)})

    names = [one.row.link.name for one in advice([unknown, *others])["press"]]

    assert first.link.name not in names
    assert len(names) == len(others)


# -- what growth shows ------------------------------------------------------------------


def figures(scheme: str, inputs: int) -> dict[str, int | Fraction | None]:
    row = compare([fastest(scheme, inputs, TICK)], Budget(60), columns=CURVES)[0]
    return {**row.cells["latency"].amounts, **row.cells["spacing"].amounts}


@pytest.mark.parametrize("inputs", [2, 7, 16, 32])
def test_parallel_codes_are_as_soon_as_wires(inputs: int) -> None:
    """Common practice, no source."""
    assert figures("parallel-code", inputs)["worst"] == figures("wire-per-input", inputs)["worst"]


@pytest.mark.parametrize("inputs", [2, 3, 7, 16, 64])
def test_framed_serial_is_equally_late_and_ahead_on_one_line(inputs: int) -> None:
    """Common practice, no source; measured: with pulses of one tick, ahead from 2 inputs on."""
    frame, gaps = figures("framed-serial", inputs), figures("pulse-gap", inputs)

    assert frame["spread"] == 0
    assert gaps["spread"] == inputs - 1
    assert frame["worst"] is not None
    assert gaps["worst"] is not None
    assert frame["worst"] < gaps["worst"]


@pytest.mark.parametrize("scheme", ["free-scan", "synced-scan"])
def test_latency_of_scans_and_its_spread_grow(scheme: str) -> None:
    """Common practice, no source."""
    found = [figures(scheme, inputs) for inputs in (2, 3, 4)]

    for name in ("worst", "spread"):
        grown = [figure[name] for figure in found]
        assert grown == sorted(set(grown))  # type: ignore[type-var]


# -- JSON and CSV ---------------------------------------------------------------------


def test_json_has_a_link_for_each_scheme_and_says_which_to_build() -> None:
    result = ask("--inputs", "3", "--tick", TICK, "--kind", "press", "--json")

    assert result.exit_code == 0
    found = json.loads(result.output)
    assert found["question"] == "compare"
    assert [link["scheme"] for link in found["links"]] == list(PRESSED)
    assert set(found["build"]) == {"press"}
    for link in found["links"]:
        assert {"name", "file", "kind", "inputs", "lines", "tick_s", "operator"} <= set(link)
        assert {column.key for column in COLUMNS} <= set(link)
        assert parse(link["link_file"], "link.toml").scheme_name == link["scheme"]
    gap = next(link for link in found["links"] if link["scheme"] == "pulse-gap")
    assert gap["spacing"]["least_s"] == gap["spacing"]["least_ticks"] / 10
    assert gap["spacing"]["rate_hz"] == pytest.approx(10 / gap["spacing"]["least_ticks"])
    assert gap["skew"]["verdict"] is None
    assert gap["skew"]["reason"].startswith("line.skew: found a link of one line")
    frame = found["build"]["press"][0]
    assert found["links"][frame["link"]]["name"] == frame["name"]


def test_the_csv_file_says_what_json_says(tmp_path: Path) -> None:
    target = tmp_path / "table.csv"
    arguments = ("--inputs", "3", "--tick", TICK, "--kind", "press", "--json")
    result = ask(*arguments, "--csv", str(target))

    assert result.exit_code == 0
    with target.open(newline="", encoding="utf-8") as stream:
        table = list(csv.DictReader(stream))
    for line, link in zip(table, json.loads(result.output)["links"], strict=True):
        assert line["name"] == link["name"]
        assert int(line["lines"]) == link["lines"]
        for column in COLUMNS:
            cell = link[column.key]
            assert line[f"{column.key}_verdict"] == (cell["verdict"] or "")
            for name in set(column.amounts) - set(column.ratios):
                ticks = cell[f"{name}_ticks"]
                assert line[f"{column.key}_{name}_ticks"] == ("" if ticks is None else str(ticks))

    again = ask(*arguments, "--csv", str(target))
    assert again.exit_code == 2
    assert again.stderr == (
        f"fewwire: {target}: found a file of that name; allowed: a new name, or --force\n"
    )
    assert ask(*arguments, "--csv", str(target), "--force").exit_code == 0


# -- the table ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def compared_once() -> Callable[..., list[Row]]:
    """In place of ``compare``: the same links are compared once."""
    known: dict[str, list[Row]] = {}

    def rows(links: list[Link], *told: Any, **named: Any) -> list[Row]:
        asked = repr(links)
        if asked not in known:
            known[asked] = compare(links, *told, **named)
        return known[asked]

    return rows


@pytest.mark.parametrize("width", [40, 60, 80, 200])
def test_the_table_folds_to_the_terminal(
    width: int, monkeypatch: pytest.MonkeyPatch, compared_once: Callable[..., list[Row]]
) -> None:
    monkeypatch.setattr("verify.questions.compare.compare", compared_once)
    monkeypatch.setenv("COLUMNS", str(width))
    result = ask("--inputs", "2", "--tick", TICK)

    assert result.exit_code == 0
    assert max(map(len, result.output.splitlines())) <= width
    assert all(line == line.rstrip() or "  " in line for line in result.output.splitlines())
    for word in ("latency", "least spacing", "held together", "Which one to build, for presses:"):
        assert word in result.output


def test_a_link_without_a_safe_spacing_says_so() -> None:
    # Two levers up together show a third code, or none, for as long as they are.
    result = ask("--inputs", "2", "--tick", TICK, "--kind", "level")

    assert result.exit_code == 0
    assert "none safe" in result.output


def test_files_of_different_ticks_are_compared_in_seconds() -> None:
    result = ask(CARILLON, str(LINKS / "infrared_leaders.toml"))

    assert result.exit_code == 0
    assert "800 ms" in result.output
    assert "22.5005 ms" in result.output
    # The one is for seven inputs, the other for two: nothing to choose between.
    assert "Which one" not in result.output


# -- wrong input ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "compare: found nothing to compare; allowed: link files, or --inputs N --tick T"),
        (("--inputs", "3"), '--tick: found nothing; allowed: a duration above 0, like "50 ms"'),
        (
            ("--inputs", "3", "--tick", "0 s"),
            '--tick: found "0 s"; allowed: a duration above 0, like "50 ms" (ns, us, ms, s, min)',
        ),
        (
            ("--inputs", "3", "--tick", "soon\n"),
            '--tick: found "soon\\n"; allowed: a duration above 0, '
            'like "50 ms" (ns, us, ms, s, min)',
        ),
        (
            ("--inputs", "3", "--tick", TICK, CARILLON),
            "--inputs: found link files as well; allowed: one of the two",
        ),
        (
            ("--kind", "press", CARILLON),
            "--kind: found no --inputs beside it; allowed: with --inputs",
        ),
        (("nowhere.toml",), "nowhere.toml: found no such file; allowed: a link file"),
        (
            ("--csv", "nowhere/table.csv", CARILLON),
            "nowhere/table.csv: found no such directory; allowed: a place to write to",
        ),
        (
            ("--inputs", "3", "--tick", TICK, "--curves", f"{CARILLON}/curves"),
            f"{CARILLON}/curves: found not a directory; allowed: a place to write to",
        ),
    ],
)
def test_wrong_input_gets_one_line(arguments: tuple[str, ...], said: str) -> None:
    result = ask(*arguments)

    assert (result.exit_code, result.stdout, result.stderr) == (2, "", f"fewwire: {said}\n")


@pytest.mark.parametrize("number", ["0", "-1", "many"])
def test_a_number_of_inputs_that_is_none(number: str) -> None:
    result = ask("--inputs", number, "--tick", TICK)

    assert result.exit_code == 2
    assert "--inputs" in result.stderr


def test_without_matplotlib_curves_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    result = ask("--inputs", "3", "--tick", TICK, "--curves", str(tmp_path / "out"))

    assert result.exit_code == 2
    assert result.stderr == (
        "fewwire: --curves: found no matplotlib; allowed: with it (pip install matplotlib)\n"
    )
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(os.name == "nt", reason="signals of a terminal")
@pytest.mark.parametrize("jobs", ["1", "2"])
def test_interrupted_it_ends_at_once_and_says_how_far_it_got(jobs: str) -> None:
    asked = ["compare", "--inputs", "400", "--tick", TICK, "--jobs", jobs]
    with subprocess.Popen(
        [sys.executable, "-m", "verify.cli", *asked],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as running:
        time.sleep(3)
        # As a terminal does: to the parent and its workers.
        os.killpg(running.pid, signal.SIGINT)
        output, errors = running.communicate(timeout=20)

    assert (running.returncode, output) == (130, "")
    assert errors.startswith("fewwire: interrupted; ")
    assert errors.endswith(" of 48 answers were there\n")


# -- curves -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def grown() -> list[Row]:
    links = [link for link in curve_links(TICK, "press") if link.inputs <= 16]
    return compare(links, Budget(60), columns=CURVES)


def test_curves_go_from_2_to_64_inputs_for_every_scheme() -> None:
    assert (POINTS[0], POINTS[-1]) == (2, 64)
    assert len(curve_links(TICK)) == len(POINTS) * len(schemes_for(None))


def test_the_files_of_curves(grown: list[Row], tmp_path: Path) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    for folder in (first, second):
        curves.prepare(str(folder))
        curves.write(str(folder), grown, 7)

    for name in curves.FILES:
        assert (first / name).read_bytes() == (second / name).read_bytes()
    assert sorted(path.name for path in first.iterdir()) == sorted(curves.FILES)
    assert (first / "curves.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    drawn = (first / "curves.svg").read_text(encoding="utf-8")
    assert "<svg" in drawn
    assert "date" not in drawn
    table = list(csv.DictReader(io.StringIO((first / "curves.csv").read_text("utf-8"))))
    assert len(table) == len(grown)
    assert {line["latency_worst_ticks"] for line in table if line["scheme"] == "pulse-gap"} == {
        str(row.cells["latency"].amounts["worst"])
        for row in grown
        if row.link.scheme_name == "pulse-gap"
    }

    with pytest.raises(UsageError, match="found a file of that name"):
        curves.prepare(str(first))


def test_what_is_undecided_leaves_a_gap(grown: list[Row]) -> None:
    open_ = [replace(row, cells={**row.cells, "latency": Cell(Verdict.UNDECIDED)}) for row in grown]

    drawn = curves.figure([*open_[:3], *grown[3:]])

    assert [len(axes.lines) for axes in drawn.axes] == [4, 4, 4, 4]
    # Nothing is known at all of the first scheme's latency: no name stands where no curve ends.
    none = curves.figure([row for row in open_ if row.link.scheme_name == "pulse-gap"])
    assert [len(axes.texts) for axes in none.axes] == [1, 1, 0, 0]


def test_names_of_curves_do_not_overlap(grown: list[Row]) -> None:
    drawn = curves.figure(grown)

    for axes in drawn.axes:
        heights = sorted(text.xyann[1] for text in axes.texts)  # type: ignore[attr-defined]
        assert all(b - a > 0.07 for a, b in pairwise(heights))


@given(st.lists(st.floats(0, 1), max_size=8).map(sorted), st.sampled_from([0.05, 0.1, 0.3]))
def test_places_are_apart_and_in_order(wanted: list[float], room: float) -> None:
    places = curves.apart(wanted, room)

    assert len(places) == len(wanted)
    assert all(b - a >= room - 1e-9 for a, b in pairwise(places))
    if all(b - a >= room for a, b in pairwise(wanted)):
        assert places == wanted


def test_csv_of_curves_has_no_columns_that_were_not_asked(grown: list[Row]) -> None:
    names = next(csv.reader(io.StringIO(comparison_csv(grown, CURVES))))

    assert "latency_spread_ticks" in names
    assert not any(name.startswith("skew") for name in names)


@pytest.mark.slow
def test_a_comparison_with_curves(tmp_path: Path) -> None:
    folder = tmp_path / "curves"
    result = ask(
        "--inputs", "3", "--tick", TICK, "--curves", str(folder), "--time", "300", jobs="2"
    )

    assert result.exit_code == 0
    open_lines = [line for line in result.stdout.splitlines() if "undecided" in line]
    # How soon a synced scan of this size recovers takes longer to prove.
    told = ("recovery", "ends that start apart", "What is undecided")
    assert all(any(words in line for words in told) for line in open_lines)
    assert result.stderr == f"wrote curves.csv, curves.png, curves.svg in {folder}\n"
    table = list(csv.DictReader(io.StringIO((folder / "curves.csv").read_text("utf-8"))))
    assert len(table) == len(POINTS) * len(schemes_for(None))
    assert {line["spacing_verdict"] for line in table} == {"holds"}
    assert {line["latency_verdict"] for line in table} == {"holds"}
