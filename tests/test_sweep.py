"""Sweeps: every row is the answer of the question itself, however and how often it was run."""

from __future__ import annotations

import csv
import io
import json
import os
import pty
import signal
import subprocess
import sys
import time
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import get_args

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from verify.cli import main
from verify.errors import LinkFileError
from verify.fields import Written, ratio
from verify.linkfile import load, parse
from verify.questions.disturbances import Disturbance
from verify.questions.dossier import DISTURBANCES
from verify.reports.sweep_axes import figure_scale, scale_of
from verify.reports.sweep_pictures import figure
from verify.sweeps import running
from verify.sweeps.asking import COLUMNS, ask_link
from verify.sweeps.cells import Result as Found
from verify.sweeps.cells import find, link_of, task
from verify.sweeps.file import Sweep, load_sweep
from verify.sweeps.journal import Journal
from verify.sweeps.values import canonical, parsed, values_of
from verify.units import parse_duration

LINK = """tick = "50 ms"
[inputs]
count = 2
[link]
scheme = "pulse-gap"
gaps = [3, 6]
[operator]
spacing = 8
"""
SWEEP = """link = "link.toml"
ask = "spacing"
[grid]
link.pulse = [1, 2, 3]
line.delay = ["50 ms", 0]
"""


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "link.toml").write_text(LINK)
    (tmp_path / "sweep.toml").write_text(SWEEP)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["sweep", *arguments], env={"COLUMNS": "80"})


def swept(text: str) -> Sweep:
    Path("sweep.toml").write_text(text)
    return load_sweep("sweep.toml")


def run_here(sweep: Sweep) -> dict[int, Found]:
    return {number: find(task(sweep, number)) for number in range(1, sweep.cells + 1)}


def rows_of(path: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(Path(path).read_text(encoding="utf-8"))))


# -- rows ---------------------------------------------------------------------------


def test_a_row_says_what_the_question_says_of_a_file_with_these_values(place: Path) -> None:
    result = ask("sweep.toml", "-o", "table.csv", "--jobs", "1")
    assert result.exit_code == 0, result.stderr
    rows = rows_of("table.csv")

    cells = list(product((1, 2, 3), ('"50 ms"', "0")))
    assert [(r["link.pulse"], r["line.delay"]) for r in rows] == [
        (str(pulse), delay.strip('"')) for pulse, delay in cells
    ]
    for k, (row, (pulse, delay)) in enumerate(zip(rows, cells, strict=True), 1):
        assert row["number"] == str(k)
        text = LINK.replace("gaps", f"pulse = {pulse}\ngaps") + f"[line]\ndelay = {delay}\n"
        Path("one.toml").write_text(text)
        alone = CliRunner().invoke(main, ["spacing", "one.toml", "--json"])
        if alone.exit_code == 2:
            assert row["reason"] in alone.stderr
            assert row["verdict"] == row["spacing_ticks"] == ""
        else:
            said = json.loads(alone.stdout)
            for name in ("verdict", "engine", "spacing_ticks", "spacing_s", "rate_hz"):
                assert row[name] == str(said[name])
    assert [row["reason"] == "" for row in rows] == [True] * 4 + [False] * 2


ASKED = [
    ("check", None),
    ("latency", None),
    ("margin", "line.jitter"),
    ("margin", "clock.rate"),
    ("recover", None),
    ("lifetime", None),
]


@pytest.mark.parametrize(("question", "of"), ASKED)
def test_figures_have_the_names_and_values_of_the_questions_own_answer(
    question: str, of: str | None, place: Path
) -> None:
    option = ["--of", of] if of else []
    said = json.loads(CliRunner().invoke(main, [question, "link.toml", *option, "--json"]).stdout)
    found = ask_link(load("link.toml"), question, of, "auto", 60)  # type: ignore[arg-type]

    assert found.verdict is not None
    assert found.verdict.value == said["verdict"]
    names = COLUMNS["margin of clock.rate" if of == "clock.rate" else question]
    for name, value in found.figures.items():
        assert name in [column.name for column in names]
        if question == "latency" and name.startswith("spread"):
            unit = name.removeprefix("spread")
            assert value == pytest.approx(said[f"worst{unit}"] - said[f"best{unit}"])
        else:
            assert value == said[name]
    assert found.figures or question == "check"


def test_a_failing_check_says_how(place: Path) -> None:
    sweep = swept('link = "link.toml"\nask = "check"\n[grid]\noperator.spacing = [3, 8]\n')
    failed, held = run_here(sweep).values()
    Path("one.toml").write_text(LINK.replace("spacing = 8", "spacing = 3"))
    said = json.loads(CliRunner().invoke(main, ["check", "one.toml", "--json"]).stdout)

    failure = said["trace"]["failure"]
    assert (failed.verdict, held.verdict, held.figures) == ("fails", "holds", {})
    assert failed.figures["failure"] == failure["kind"]
    assert failed.figures["failure_output"] == failure["output"]
    assert failed.figures["failure_ticks"] == failure["tick"]
    presses = [e for e in said["trace"]["events"] if e["signal"][:3] == "in." and e["value"]]
    assert failed.figures["presses"] == len(presses)


def test_margins_are_those_that_the_command_has() -> None:
    (of,) = [p for p in main.commands["margin"].params if p.name == "of"]
    choices = set(of.type.choices)  # type: ignore[attr-defined]
    assert set(get_args(Disturbance)) == choices
    assert set(DISTURBANCES) == choices


def test_what_is_undecided_tells_nothing_that_could_differ(place: Path) -> None:
    sweep = swept(SWEEP.replace("[grid]", 'engine = "simulator"\ntime = 0.05\n[grid]'))
    found = find(task(sweep, 1))

    assert found.model_copy(update={"took_s": 0.0}) == Found(cell=1, verdict="undecided")
    result = ask("sweep.toml", "-o", "table.csv", "--jobs", "1", "-q")
    assert (result.exit_code, result.stdout.split()[0]) == (3, "undecided")


# -- the file -----------------------------------------------------------------------


def test_rows_of_a_list_go_with_the_whole_grid(place: Path) -> None:
    sweep = swept(
        'link = "link.toml"\nask = "check"\nwithout = ["operator.spacing"]\n'
        '[[list]]\ninputs.count = 3\n"link.gaps" = [3, 6, 9]\n[[list]]\nlink.pulse = 2\n'
        "[grid]\nline = { jitter = [0, 1] }\n"
    )

    assert sweep.keys == ("inputs.count", "link.gaps", "link.pulse", "line.jitter")
    assert [sweep.changes(k) for k in range(1, 5)] == [
        ("3", "[3, 6, 9]", None, "0"),
        ("3", "[3, 6, 9]", None, "1"),
        (None, None, "2", "0"),
        (None, None, "2", "1"),
    ]
    links = [link_of(sweep, k) for k in range(1, 5)]
    assert [link.inputs for link in links] == [3, 3, 2, 2]
    assert [link.faults.jitter for link in links] == [0, 1, 0, 1]
    assert {link.operator.spacing for link in links} == {0}
    assert all(link_of(sweep.alone(k), 1) == link for k, link in enumerate(links, 1))


@given(st.integers(-500, 500), st.integers(1, 400), st.integers(1, 20), st.integers(0, 3))
def test_ranges_are_exact_and_reach_their_end(
    start: int, step: int, many: int, places: int
) -> None:
    size = Fraction(1, 10**places)

    def written(number: int) -> Written:
        return Written(f"{number * size.numerator / size.denominator:.{places}f}")

    value = {"from": written(start), "to": written(start + many * step), "step": written(step)}
    found = [ratio(parsed(text)) for text in values_of(value)]
    assert found == [(start + k * step) * size for k in range(many + 1)]


def test_ranges_of_durations_and_shares() -> None:
    steps = {"from": "1 min", "to": "90 s", "step": "10 s"}
    durations = [parse_duration(parsed(text)) for text in values_of(steps)]
    assert durations == [60, 70, 80, 90]
    shares = values_of({"from": "0 %", "to": "1.5 %", "step": "0.5 %"})
    assert [ratio(parsed(text)) for text in shares] == [Fraction(k, 200) for k in range(4)]
    assert canonical(Written("0.10000000000000000001")) == "0.10000000000000000001"


HEAD = 'link = "link.toml"\nask = "spacing"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('ask = "spacing"\n[grid]\nlink.pulse = [1]\n', "sweep.toml: link: found nothing; "),
        (HEAD.replace("spacing", "spacings"), 'ask: found "spacings"; allowed: "check", '),
        (HEAD, "grid: found nothing; allowed: a table [grid] or rows [[list]]"),
        (f"{HEAD}grids = 1\n", "did you mean 'grid'?"),
        (f"{HEAD}[grid]\nlink.pulse = 3\n", "grid.link.pulse: found 3; allowed: a list"),
        (f"{HEAD}[grid]\nlink.puls = [3]\n", "did you mean 'pulse'?"),
        (f"{HEAD}[grid]\nlink.pulse = [1, 1]\n", "grid.link.pulse[1]: found 1; allowed: a value"),
        (f"{HEAD}[grid]\nlink.pulse = [1979-05-27]\n", "grid.link.pulse[0]: found 1979-05-27; "),
        (f"{HEAD}[grid]\nlink.pulse = {{ from = 1 }}\n", "allowed: a list of one value or more"),
        (
            f"{HEAD}[grid]\nlink.pulse = {{ from = 1, to = 3, step = 0 }}\n",
            "grid.link.pulse.step: found 0; allowed: more than 0",
        ),
        (f'{HEAD}of = "pause"\n[grid]\nlink.pulse = [1]\n', "of: found "),
        (HEAD.replace("spacing", "margin") + "[grid]\nlink.pulse = [1]\n", "of: found nothing"),
        (f"{HEAD}time = 0\n[grid]\nlink.pulse = [1]\n", "time: found 0; allowed: seconds"),
        (f'{HEAD}[grid]\npause = [1]\n"pause.most" = [1]\n', "keys that do not overlap"),
        (f"{HEAD}list = [1]\n", "list: found [1]; allowed: rows [[list]]"),
        (f"{HEAD}[grid]\nlink.pulse = [9, 10]\n", "grid: found no cell that makes a link; in "),
        (
            f"{HEAD}[grid]\nline.delay = {{ from = 1, to = 9999, step = 1 }}\n"
            "line.jitter = { from = 0, to = 99, step = 1 }\n",
            "found 999900 cells; allowed: at most 100000 cells",
        ),
        (HEAD.replace("link.toml", "no.toml") + "[grid]\nlink.pulse = [1]\n", "no such file"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(text: str, said: str, place: Path) -> None:
    Path("sweep.toml").write_text(text)
    result = ask("sweep.toml", "-o", "table.csv")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.count("\n") == 1
    assert said in result.stderr
    assert not list(place.glob("table*"))


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["-o", "table.txt"], "allowed: a name that ends in .csv or .parquet"),
        (["-o", "nowhere/table.csv"], "found no such directory"),
        (["-o", "sweep.csv", "--jobs", "2", "--dask", "tcp://x:1"], "allowed: one of the two"),
        (["-o", "old.csv"], "allowed: a new name, or --force"),
    ],
)
def test_options_that_do_not_go(options: list[str], said: str, place: Path) -> None:
    Path("old.csv").write_text("mine")
    result = ask("sweep.toml", *options)

    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert said in result.stderr
    assert Path("old.csv").read_text() == "mine"


# -- journal ------------------------------------------------------------------------


def test_a_crash_at_any_byte_loses_nothing_and_does_nothing_twice(place: Path) -> None:
    sweep = load_sweep("sweep.toml")
    done = run_here(sweep)
    with Journal("whole", sweep) as journal:
        for result in done.values():
            journal.add(result)
    data = Path("whole").read_bytes()

    for cut in range(0, len(data) + 1, 41):
        Path("torn").write_bytes(data[:cut])
        with Journal("torn", sweep) as journal:
            had = set(journal.done)
            assert had == set(range(1, max(0, data[:cut].count(b"\n") - 1) + 1))
            for number in set(done) - had:
                journal.add(done[number])
        assert Path("torn").read_bytes() == data
        with Journal("torn", sweep) as journal:
            assert journal.done == done


def test_a_sweep_goes_on_where_it_was(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert ask("sweep.toml", "-o", "whole.csv", "--jobs", "1").exit_code == 0
    asked: list[int] = []

    def some(work: object, tasks: list[object], jobs: int) -> object:
        for k, one in enumerate(tasks):
            if len(asked) == 4:
                raise KeyboardInterrupt
            asked.append(one.number)  # type: ignore[attr-defined]
            yield k, find(one)  # type: ignore[arg-type]

    monkeypatch.setattr(running, "each", some)
    first = ask("sweep.toml", "-o", "table.csv", "--jobs", "1")
    assert first.exit_code == 130
    assert "interrupted; 4 of 6 cells are in table.csv.journal" in first.stderr
    assert not Path("table.csv").exists()
    asked_before, asked[:] = list(asked), []
    assert ask("sweep.toml", "-o", "table.csv", "--jobs", "1").exit_code == 0

    assert sorted(asked_before + asked) == [1, 2, 3, 4, 5, 6]
    assert Path("table.csv").read_bytes() == Path("whole.csv").read_bytes()
    # A file in the table's place is spared, unless it is the same.
    Path("table.csv").write_text("mine")
    assert "or --force" in ask("sweep.toml", "-o", "table.csv").stderr
    assert Path("table.csv").read_text() == "mine"
    assert ask("sweep.toml", "-o", "table.csv", "--force").exit_code == 0
    # Nothing is left to do, and the table may be made again.
    asked[:] = []
    assert ask("sweep.toml", "-o", "table.csv").exit_code == 0
    assert asked == []


def test_a_journal_of_something_else_is_refused_and_stays(place: Path) -> None:
    with Journal("table.csv.journal", load_sweep("sweep.toml")) as journal:
        busy = ask("sweep.toml", "-o", "table.csv")
        assert "in use by another process" in busy.stderr
        journal.add(Found(cell=1, verdict="holds"))
    kept = Path("table.csv.journal").read_bytes()
    for change in ("other time", "other link", "other sweep"):
        options = ["--time", "61"] if change == "other time" else []
        if change == "other link":
            Path("link.toml").write_text(LINK + "# changed\n")
        if change == "other sweep":
            Path("link.toml").write_text(LINK)
            Path("sweep.toml").write_text(SWEEP.replace("[1, 2, 3]", "[1, 2]"))
        result = ask("sweep.toml", "-o", "table.csv", "--force", *options)
        assert result.exit_code == 2
        assert "found the journal of another sweep" in result.stderr
        assert result.stderr.count("\n") == 1
        assert Path("table.csv.journal").read_bytes() == kept
    Path("table.csv.journal").write_text("bells\nand more")
    assert "a line 1 that no sweep wrote" in ask("sweep.toml", "-o", "table.csv").stderr


# -- tables and pictures --------------------------------------------------------------


def test_parquet_and_csv_say_the_same(place: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    for name in ("table.csv", "table.parquet"):
        assert ask("sweep.toml", "-o", name, "--jobs", "1").exit_code == 0
    read = parquet.read_table("table.parquet")

    assert str(read.schema.field("spacing_ticks").type) == "int64"
    assert str(read.schema.field("line.delay").type) == "string"
    for ours, theirs in zip(rows_of("table.csv"), read.to_pylist(), strict=True):
        assert ours == {k: "" if v is None else str(v) for k, v in theirs.items()}


@pytest.mark.parametrize(
    ("grid", "labels"),
    [
        ("link.pulse = [1, 2]\nline.jitter = [0, 1]", ["link.pulse, ticks of 50 ms"]),
        ('line.delay = ["50 ms", "1 s"]', ["line.delay, ms"]),
        ('clock.rate = [0, 0.01, "1/160"]', ["clock.rate, %"]),
        ("inputs.count = [2]\ninputs.kind = ['press']", ["inputs.count", "inputs.kind"]),
        ("link.receiver = ['timer', 'taps']", ["link.receiver"]),
    ],
)
def test_axes_have_the_keys_with_their_units(grid: str, labels: list[str], place: Path) -> None:
    sweep = swept(f"{HEAD}[grid]\n{grid}\n")
    link = link_of(sweep, 1)
    found = [scale_of(sweep, k, link).label for k in range(len(sweep.axes))]

    assert found[: len(labels)] == labels


# Machines of the link file: a pulse as long as a table says, a count that is no time.
OWN = """tick = "50 ms"
[inputs]
count = 2
[link]
scheme = "own"
tables.step = 2
tables.pause = "100 ms"
tables.width = "[step * i + 2 for i in range(inputs)]"
[transmitter]
timers.high = "max(width)"
numbers.sent = [0, 3]
[[transmitter.rules]]
when = "high.ends"
do = ["line.down()", "sent.set(0)"]
[[transmitter.rules]]
each = "press"
when = "not high.runs and not high.ends"
do = ["line.up()", "high.start(width[input])", "sent.set(1)"]
[receiver]
timers.clock = 20
[[receiver.rules]]
when = "line.rises"
do = ["clock.start(20)"]
[[receiver.rules]]
when = "line.falls"
do = ["strike(find(width, 20 - clock.left))", "clock.stop()"]
[operator]
spacing = 12
"""


@pytest.mark.parametrize(
    ("grid", "labels"),
    [
        ("link.tables.step = [2, 3]", ["link.tables.step"]),
        ("link.tables.pause = [2, 3]", ["link.tables.pause, ticks of 50 ms"]),
        ('link.tables.step = ["100 ms", "150 ms"]', ["link.tables.step, ms"]),
        ("receiver.timers.clock = [20, 30]", ["receiver.timers.clock, ticks of 50 ms"]),
        ('"transmitter.numbers.sent[1]" = [1, 2]', ["transmitter.numbers.sent[1]"]),
    ],
)
def test_numbers_of_ones_own_machines_are_times_where_the_file_says_so(
    grid: str, labels: list[str], place: Path
) -> None:
    Path("link.toml").write_text(OWN)
    sweep = swept(f"{HEAD}[grid]\n{grid}\n")
    assert [scale_of(sweep, 0, link_of(sweep, 1)).label] == labels


def test_keys_of_machines_are_swept_like_others(place: Path) -> None:
    Path("link.toml").write_text(OWN)
    guards = '"receiver.rules[1].when" = ["line.falls", "line.fals"]'
    swept(f"{HEAD}[grid]\nlink.tables.step = [1, 2]\n{guards}\n")
    result = ask("sweep.toml", "-o", "table.csv", "--jobs", "1")
    assert result.exit_code == 0, result.stderr
    rows = rows_of("table.csv")
    assert [row["spacing_ticks"] for row in rows] == ["4", "", "5", ""]
    assert rows[1]["reason"].startswith("receiver.rules[1].when: found 'line.fals' at column 1")


@pytest.mark.parametrize(
    ("grid", "said"),
    [
        ("link.tables.stpe = [2, 3]", "allowed: step, pause, width; did you mean 'step'?"),
        ("receiver.timers.clokc = [20, 30]", "allowed: clock; did you mean 'clock'?"),
        ('"transmitter.flags.high" = [true, false]', "allowed: none"),
    ],
)
def test_names_that_machines_do_not_have_are_refused(grid: str, said: str, place: Path) -> None:
    Path("link.toml").write_text(OWN)
    Path("sweep.toml").write_text(f"{HEAD}[grid]\n{grid}\n")
    result = ask("sweep.toml", "-o", "table.csv")

    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert f"found a name that the link file does not have; {said}" in result.stderr


def test_a_python_file_may_ask_for_tables_that_the_link_file_does_not_have(place: Path) -> None:
    Path("link.toml").write_text(
        'tick = "50 ms"\ninputs.count = 2\n[link]\nscheme = "own"\npython = "ends.py"\n'
    )
    assert swept(f"{HEAD}[grid]\nlink.tables.step = [2, 3]\n").cells == 2


@pytest.mark.parametrize(
    "grid",
    [
        "link.pulse = [1, 2, 3]",
        "link.pulse = [1, 2, 3]\nline.delay = [0, 1]\nlink.receiver = ['timer', 'taps']",
    ],
)
def test_pictures_show_every_cell(grid: str, place: Path) -> None:
    sweep = swept(f"{HEAD}[grid]\n{grid}\n")
    done = {
        k: Found(cell=k, verdict="holds", figures={"spacing_s": 0.1 * k})
        for k in range(1, sweep.cells)
    }
    done[sweep.cells] = Found(cell=sweep.cells, verdict=None, reason="none")
    drawn = figure(sweep, parse(LINK, "link"), done)
    shown = figure_scale(sweep, done)

    assert shown.label == "least safe spacing, ms"
    texts = [text.get_text() for axes in drawn.axes for text in axes.texts]
    if sweep.cells == 3:
        (axes,) = drawn.axes
        assert [*axes.lines[0].get_ydata()][:2] == pytest.approx([100, 200])
        assert [*axes.lines[1].get_xdata()] == [3]
        assert axes.get_xlabel() == "link.pulse, ticks of 50 ms"
    else:
        wanted = [f"{100 * k}" for k in range(1, sweep.cells)]
        assert sorted(texts) == sorted([*wanted, "not asked"])


def test_pictures_are_written_and_are_the_same_every_time(place: Path) -> None:
    for folder in ("one", "two"):
        result = ask("sweep.toml", "-o", "t.csv", "--jobs", "1", "--pictures", folder)
        assert result.exit_code == 0, result.stderr
    for name in ("sweep.png", "sweep.svg"):
        assert Path("one", name).read_bytes() == Path("two", name).read_bytes() != b""
    Path("other").mkdir()
    Path("other/sweep.svg").write_text("mine")
    result = ask("sweep.toml", "-o", "u.csv", "--pictures", "other")
    assert result.exit_code == 2
    assert Path("other/sweep.svg").read_text() == "mine"


# -- processes, terminals, clusters -----------------------------------------------------


def command(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "verify.cli", "sweep", *arguments]


@pytest.mark.slow
def test_two_processes_find_the_same_rows_though_one_is_killed(place: Path) -> None:
    sweep = load_sweep("sweep.toml")
    here = run_here(sweep)
    found: dict[int, Found] = {}

    def told(result: Found) -> None:
        if not found:
            from joblib.externals.loky import reusable_executor

            worker = next(iter(reusable_executor._executor._processes.values()))
            os.kill(worker.pid, signal.SIGKILL)
        assert result.cell not in found
        found[result.cell] = result

    running.run(sweep, range(1, sweep.cells + 1), 2, told)
    assert untimed(found) == untimed(here)


def untimed(found: dict[int, Found]) -> list[Found]:
    return [one.model_copy(update={"took_s": 0.0}) for _, one in sorted(found.items())]


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="children are told by Linux")
def test_workers_end_with_a_process_that_is_killed(place: Path) -> None:
    grid = "operator.spacing = { from = 1, to = 5000, step = 1 }"
    Path("sweep.toml").write_text(f'link = "link.toml"\nask = "recover"\n[grid]\n{grid}\n')
    process = subprocess.Popen(command("sweep.toml", "-o", "t.csv", "--jobs", "2"))
    journal, until = Path("t.csv.journal"), time.monotonic() + 60
    while not (journal.exists() and journal.read_bytes().count(b"\n") > 2):
        assert time.monotonic() < until
        time.sleep(0.05)
    # Any thread of it may have started some.
    tasks = Path(f"/proc/{process.pid}/task").glob("*/children")
    children = {pid for task in tasks for pid in task.read_text().split()}
    process.kill()
    process.wait()
    assert len(children) >= 2
    while any(_runs(pid) for pid in children):
        assert time.monotonic() < until
        time.sleep(0.1)


def _runs(pid: str) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.slow
def test_a_terminal_shows_the_time_left_and_an_interrupt_ends_at_once(place: Path) -> None:
    grid = "operator.spacing = { from = 1, to = 5000, step = 1 }"
    Path("sweep.toml").write_text(f'link = "link.toml"\nask = "recover"\n[grid]\n{grid}\n')
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        command("sweep.toml", "-o", "t.csv", "--jobs", "2"), stderr=theirs, stdout=theirs
    )
    os.close(theirs)
    journal, until = Path("t.csv.journal"), time.monotonic() + 60
    while not (journal.exists() and journal.read_bytes().count(b"\n") > 20):
        assert time.monotonic() < until
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    text = b""
    try:
        while block := os.read(ours, 65536):
            text += block
    except OSError:
        pass  # Linux says so when the other end has gone
    assert process.wait(timeout=20) == 130
    shown = text.decode()
    assert "left" in shown
    assert "of 5000 cells are in t.csv.journal" in " ".join(shown.split())
    kept = [Found.model_validate_json(one) for one in journal.read_bytes().splitlines()[1:]]
    assert len({one.cell for one in kept}) == len(kept) >= 20


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_cluster_finds_the_same_rows_though_a_worker_is_killed(place: Path) -> None:
    distributed = pytest.importorskip("distributed")
    sweep = swept(
        SWEEP.replace("[1, 2, 3]", "{ from = 1, to = 2, step = 1 }").replace(
            '["50 ms", 0]', "{ from = 0, to = 14, step = 1 }"
        )
    )
    here = run_here(sweep)
    found: dict[int, Found] = {}
    with distributed.LocalCluster(
        n_workers=3, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:
        workers = [worker.pid for worker in cluster.workers.values()]

        def told(result: Found) -> None:
            assert result.cell not in found
            found[result.cell] = result
            if len(found) == 4:
                os.kill(workers[0], signal.SIGKILL)

        numbers = range(1, sweep.cells + 1)
        running.run_on_dask(sweep, numbers, cluster.scheduler_address, told)
    assert len(workers) == 3
    assert untimed(found) == untimed(here)


@pytest.mark.filterwarnings("ignore")
def test_a_scheduler_that_is_not_there_is_one_line(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(running, "DASK_SECONDS", 0.2)
    for address in ("tcp://127.0.0.1:9", "bells"):
        result = ask("sweep.toml", "-o", "t.csv", "--dask", address)
        assert result.exit_code == 2, result.stderr
        assert result.stderr.count("\n") == 1
        assert f"--dask {address}: found no scheduler there" in result.stderr


def test_dask_and_pyarrow_are_imported_only_when_asked_for(place: Path) -> None:
    code = (
        "import sys; sys.argv = ['fewwire', 'sweep', 'sweep.toml', '-o', 't.csv', '--jobs', '1']\n"
        "from verify.cli import main\n"
        "try: main()\n"
        "except SystemExit as end: assert end.code == 0\n"
        "print({'dask', 'distributed', 'pyarrow', 'matplotlib', 'joblib'} & set(sys.modules))"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.splitlines()[-1] == "set()"


def test_no_link_of_a_sweep_is_an_error_of_the_sweep(place: Path) -> None:
    sweep = swept(f"{HEAD}[grid]\npause = [1]\n")
    assert link_of(sweep, 1).pause.most == 1
    sweep = swept(f'{HEAD}[grid]\n"link.gaps[5]" = [1]\n')
    with pytest.raises(
        LinkFileError, match=r"link.gaps: found 2 entries; allowed: .* link.gaps\[5\]"
    ):
        link_of(sweep, 1)
