"""Reports: what they say is what the questions answer; those of the demos are up to date."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.cli import main
from verify.engines.answer import Progress
from verify.linkfile import load
from verify.questions.dossier import Dossier, dossier
from verify.questions.judging import Subject
from verify.reports.as_json import rate_hz
from verify.reports.cautions import flashing
from verify.reports.page_templates import source
from verify.reports.rebuild import DEMOS, ROOT, report_of
from verify.reports.report_data import Report, report_data
from verify.reports.report_files import PAGE, TEXT, texts
from verify.reports.report_html import report_html
from verify.reports.report_markdown import plain, report_markdown
from verify.reports.runs_data import Signal, value_at

LINKS = ROOT / "models" / "links"
QUICK = ("carillon", "puppet_theatre")
REBUILD = "python -m verify.reports.rebuild"


def asked(name: str, seconds: float = 60.0) -> tuple[Dossier, Report]:
    found = dossier(Subject(load(LINKS / f"{name}.toml")), "auto", Progress(), seconds)
    return found, report_data(found)


# -- the demos ----------------------------------------------------------------------


def anew(name: str) -> dict[str, str]:
    """In a process of its own, as they are rebuilt: which of several runs a solver shows depends on
    what it was asked before."""
    code = (
        "import json; from verify.reports.rebuild import report_of; "
        "from verify.reports.report_files import texts; "
        f"print(json.dumps(texts(report_of({name!r}))))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    found: dict[str, str] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize(
    "name", [n if n in QUICK else pytest.param(n, marks=pytest.mark.slow) for n in DEMOS]
)
def test_the_reports_of_the_demos_are_up_to_date(name: str) -> None:
    for file, text in anew(name).items():
        kept = (ROOT / "reports" / name / file).read_text("utf-8")
        assert kept == text, f"reports/{name}/{file} is stale: {REBUILD}"


def test_no_report_is_kept_but_those_and_every_page_is_under_a_megabyte() -> None:
    # Beside the folders lie measurements of costs.
    kept = {path.relative_to(ROOT / "reports") for path in (ROOT / "reports").rglob("*/*.*")}

    assert kept == {Path(name) / file for name in DEMOS for file in (PAGE, TEXT)}
    assert all((ROOT / "reports" / file).stat().st_size < 1_000_000 for file in kept)
    assert REBUILD in (ROOT / "DEVELOPERS.md").read_text()


# -- what a report says -------------------------------------------------------------


@pytest.fixture(scope="module")
def theatre() -> tuple[Dossier, Report]:
    return asked("puppet_theatre")


def test_a_report_tells_what_the_questions_answer(theatre: tuple[Dossier, Report]) -> None:
    found, report = theatre
    page, text = report_html(report), report_markdown(report)

    assert report.verdict == found.check.verdict.value == "fails"
    assert found.pairs is not None
    assert [[cell.ticks for cell in row] for row in report.matrix] == [
        list(row) for row in found.pairs.ticks
    ]
    assert found.latency is not None
    best = [found.at.tick * row.best for row in found.latency.inputs if row.best is not None]
    worst = max(row.worst or 0 for row in found.latency.inputs)
    assert [bar.left for bar in report.bars] == [
        round(float(100 * b / (worst * found.at.tick)), 2) for b in best
    ]
    # The link fails as it is; what it bears is asked where it holds.
    assert found.at.operator.spacing == found.spacing.ticks == 16
    assert [row.of for row in report.margins] == [
        "line.jitter",
        "line.shortest",
        "clock.rate",
        "clock.wander",
        "pause",
    ]
    for whole in (page, text):
        assert "(WCAG 2.x, success criterion 2.3.1)" not in whole  # 1.25 Hz
        assert "interlocks" in whole
        assert "extra-low voltage" in whole


def test_runs_are_those_of_the_answers(theatre: tuple[Dossier, Report]) -> None:
    found, report = theatre
    traces = [found.check.trace, found.spacing.trace_below]
    for margin in found.margins:
        sides = (margin.least, margin.most)
        traces += [side.trace_beyond for side in sides if side is not None]
    failing = [trace for trace in traces if trace is not None]

    assert [run.fails_at for run in report.runs[: len(failing)]] == [
        trace.failure and trace.failure.tick for trace in failing
    ]
    assert report.runs[-1].fails_at is None
    for run, trace in zip(report.runs, failing, strict=False):
        shown = {signal.name: signal for signal in run.signals}
        for event in trace.events:
            word = value_at(shown[event.signal], event.tick)
            assert word == {"in": "pressed", "ou": "strikes"}.get(
                event.signal[:2], ("low", "high")[event.value]
            )


@pytest.mark.parametrize(
    ("tick_ms", "spacing", "warned"),
    [(50, 16, False), (10, 33, True), (10, 34, False), (1000, 1, False), (333, 1, True)],
)
def test_lamps_that_may_flash_too_fast_get_the_caution(
    tick_ms: int, spacing: int, warned: bool
) -> None:
    """WCAG 2.2, success criterion 2.3.1: no more than three flashes in any one second. Presses
    apart by 333 ms or less are four within a second."""
    hertz = rate_hz(spacing, Fraction(tick_ms, 1000))
    assert (flashing(hertz) is not None) == warned
    presses = [k * spacing * tick_ms for k in range(2000) if k * spacing * tick_ms < 1000]
    assert warned == (len(presses) > 3)


def test_reports_of_fast_links_warn_of_lamps() -> None:
    kept = {name: (ROOT / "reports" / name / PAGE).read_text("utf-8") for name in DEMOS}

    assert {name for name, page in kept.items() if "criterion 2.3.1" in page} == {
        "ferry_bell",  # 6.25 Hz
        "lock_gates",  # any
    }


def test_levers_show_where_they_are_between_their_moves() -> None:
    lever = Signal("in.upper", "level", ((4, "down"), (5, "up"), (9, "down")))
    timer = Signal("clock", "timer", ((2, 5), (4, 0)))
    strike = Signal("out.c", "moment", ((7, "strikes"),))

    assert [value_at(lever, tick) for tick in (3, 4, 5, 8, 9, 20)] == [
        "",
        "down",
        "up",
        "up",
        "down",
        "down",
    ]
    assert [value_at(timer, tick) for tick in (1, 2, 3, 4)] == ["", "5 left", "4 left", ""]
    assert [value_at(strike, tick) for tick in (6, 7, 8)] == ["", "strikes", ""]


def test_what_time_cuts_short_is_said_to_be_undecided() -> None:
    found, report = asked("greenhouse", seconds=0.01)

    assert report.verdict == "undecided"
    assert found.unasked == "whether the link holds as it is is undecided"
    assert "undecided" in report.margins_at
    assert "fewer than" not in report_html(report)


# -- the page as such ---------------------------------------------------------------


class Outline(HTMLParser):
    """Elements that are opened, with their attributes; all must be closed."""

    VOID = {"meta", "link", "input"}

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("name", DEMOS)
def test_the_page_is_whole_and_asks_for_nothing(name: str) -> None:
    page = (ROOT / "reports" / name / PAGE).read_text("utf-8")
    outline = Outline(page)
    ids = [attrs["id"] for _, attrs in outline.seen if "id" in attrs]

    assert len(ids) == len(set(ids))
    for _, attrs in outline.seen:
        for key, value in attrs.items():
            if key in ("src", "srcset", "action", "data", "xlink:href"):
                raise AssertionError(f"{key}={value}")
            if key == "href":
                assert value is not None
                assert value == "data:," or value.removeprefix("#") in ids
            if key in ("for", "aria-labelledby", "aria-describedby"):
                assert value in ids
    assert not re.findall(r"@import|url\(", page)
    tags = [tag for tag, _ in outline.seen]
    assert [tags.count(tag) for tag in ("main", "header", "nav", "h1")] == [1, 1, 1, 1]


def test_names_cannot_break_out_of_page_data_or_markdown(tmp_path: Path) -> None:
    bad = "</script><script>alert(1)</script>"
    text = (LINKS / "carillon.toml").read_text()
    text = text.replace('name = "carillon"', f'name = "{bad}"').replace('"c"', "'<img src=x>|*`'")
    (tmp_path / "odd.toml").write_text(text)
    done = CliRunner().invoke(
        main, ["report", str(tmp_path / "odd.toml"), "-o", str(tmp_path / "out"), "--time", "20"]
    )
    assert done.exit_code == 0, done.stderr
    page = (tmp_path / "out" / PAGE).read_text("utf-8")
    outline = Outline(page)

    assert [tag for tag, _ in outline.seen].count("script") == 2
    assert not any(tag == "img" for tag, _ in outline.seen)
    data = re.search(r'id="runs-data">(.*?)</script>', page, re.DOTALL)
    assert data is not None
    names = {signal["name"] for run in json.loads(data[1]) for signal in run["signals"]}
    assert "in.<img src=x>|*`" in names
    rows = (tmp_path / "out" / TEXT).read_text("utf-8").split("\n")
    assert any(line.startswith("| \\<img src=x\\>\\|\\*\\` |") for line in rows)


@settings(max_examples=50, deadline=None)
@given(st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1))
def test_markdown_takes_any_text_as_it_is(text: str) -> None:
    """Rendered by a general-purpose library (markdown-it-py, CommonMark) it is the same text."""
    from markdown_it import MarkdownIt

    told = "".join(
        child.content
        for token in MarkdownIt().parse(f"x {plain(text)} x")
        for child in token.children or ()
    )
    assert told == f"x {text} x"


def test_the_template_has_no_words_about_time() -> None:
    """Pages made twice are the same."""
    for name in ("report.html", "report.md"):
        assert not re.search(r"now\(|date|version", source(name))


# -- the command --------------------------------------------------------------------


def test_the_command_writes_both_and_overwrites_only_when_told(tmp_path: Path) -> None:
    file, out, runner = str(LINKS / "carillon.toml"), tmp_path / "new" / "er", CliRunner()

    done = runner.invoke(main, ["report", file, "-o", str(out)])
    assert done.exit_code == 0
    assert done.stdout == ""
    assert done.stderr == f"wrote {out}/{PAGE}\nwrote {out}/{TEXT}\n"
    assert (out / PAGE).read_text("utf-8") == texts(report_of("carillon"))[PAGE]
    refused = runner.invoke(main, ["report", file, "-o", str(out)])
    assert refused.exit_code == 2
    assert "--force" in refused.stderr
    nowhere = runner.invoke(main, ["report", file, "-o", str(out / PAGE)])
    assert nowhere.exit_code == 2
    assert nowhere.stderr.count("\n") == 1
