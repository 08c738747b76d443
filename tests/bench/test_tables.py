"""The tables in reports/ are measurements, so not tested as they stand, but how they are made."""

from __future__ import annotations

import csv
import io

import pytest

from verify.engines.answer import Budget, Verdict

from . import explorer_profile, growth
from .encodings import LOOKING_ONLY, WAYS, case
from .growth import AXES, Measured, exponent, fit, report
from .growth_curves import svg
from .growth_point import Outcome
from .measuring import as_csv
from .ratios import measure, rows
from .subjects import EVERY, Kind, subject_link
from .variants import VARIANTS

PULSES = Kind("pulse-gap", "press")
INPUTS, TICK, BITS, HELD = AXES


def outcome(seconds: float, added: float = 0.1) -> Outcome:
    return Outcome(seconds, 40 + added, added, "holds", 1, "explorer")


def points(seconds: list[float], *, cut: bool = False) -> list[Measured]:
    found = [
        Measured("inputs", PULSES, 2 ** (k + 1), outcome(s), 20.0) for k, s in enumerate(seconds)
    ]
    return [
        *found,
        *([Measured("inputs", PULSES, 2 ** (len(seconds) + 1), None, 20.0)] if cut else []),
    ]


def test_growth_of_two_small_links_is_measured_each_in_its_own_process():
    two, four = growth.curve(INPUTS, PULSES, 20.0, (2, 4))
    assert (two.outcome.spacing, four.outcome.spacing) == (5, 7)
    assert all(p.outcome.megabytes > p.outcome.added > 0 for p in (two, four))
    table = list(csv.reader(io.StringIO(as_csv(growth.ROWS, growth.csv_rows([two, four])))))
    assert [row[:4] for row in table[1:]] == [
        ["inputs", "pulse-gap", "press", "2"],
        ["inputs", "pulse-gap", "press", "4"],
    ]


def test_a_point_over_its_limit_is_cut_off_and_ends_the_curve():
    kind = Kind("synced-scan", "level")
    (only,) = growth.curve(INPUTS, kind, -1.0, (512, 1024))
    assert only.outcome is None


def test_an_exponent_is_that_of_the_upper_half():
    assert exponent([(x, 3 * x**2.5) for x in (2, 4, 8)]) == pytest.approx(2.5)
    found = fit(points([1.0, 1.0, 1.0, 1.0, 4.0, 16.0], cut=True))
    assert (found.time, found.memory, found.cut) == (pytest.approx(2.0), None, 128)
    assert fit(points([0.001, 0.002])).time is None


def test_what_grows_faster_than_with_the_square_is_said_why(monkeypatch):
    steep = points([1.0, 8.0, 64.0])
    assert "3.00" in report(steep)
    assert "no reason known" in report(steep)
    monkeypatch.setitem(growth.WHY, ("inputs", "pulse-gap", "press"), "for a reason")
    assert "for a reason" in report(steep)
    assert "for a reason" not in report(points([1.0, 2.0, 4.0]))


def test_a_picture_names_every_scheme_and_marks_where_it_was_cut_off():
    drawn = svg("inputs", points([1.0, 2.0], cut=True)).decode()
    assert "pulse-gap, press" in drawn
    assert drawn == svg("inputs", points([1.0, 2.0], cut=True)).decode()
    assert drawn != svg("inputs", points([1.0, 2.0])).decode()


@pytest.mark.parametrize("kind", EVERY, ids=str)
def test_a_finer_tick_is_the_same_link(kind):
    coarse, fine = subject_link(kind, 3), subject_link(kind, 3, finer=10)
    assert fine.tick * 10 == coarse.tick
    for name, value in coarse.scheme.settings().items():
        if name in ("pulse", "bit", "slot", "frame"):
            assert fine.scheme.settings()[name] == 10 * value, name


def test_a_ratio_has_its_proof_and_its_counterexample():
    measured = measure(PULSES, 3)
    assert [check.verdict for check in measured.checks] == [Verdict.HOLDS, Verdict.FAILS]
    assert next(rows([measured]))[:3] == ("pulse-gap, press", "3", "6")
    assert measured.bare_ratio > measured.ratio > 0


# Of codes, two presses in one tick are the counterexample.
@pytest.mark.parametrize(
    ("kind", "name"),
    [
        *((PULSES, name) for name in WAYS),
        # Frames go on step by step: what may be under way is thinned out between questions.
        *((Kind("framed-serial", "press"), name) for name in VARIANTS),
        (Kind("parallel-code", "press"), "differences"),
        pytest.param(Kind("parallel-code", "press"), LOOKING_ONLY[0], marks=pytest.mark.slow),
    ],
    ids=str,
)
def test_every_encoding_gives_the_same_answers(kind, name):
    asked = case(kind, 4 if kind.scheme == "framed-serial" else 2)
    found = tuple(WAYS[name](asked, Budget(60)))
    known = tuple(question.verdict for question in asked.questions)
    assert known == (Verdict.HOLDS, Verdict.FAILS)
    assert found == ((Verdict.UNDECIDED, Verdict.FAILS) if name in LOOKING_ONLY else known)


def test_what_is_not_measured_again_is_kept(tmp_path):
    known = [*points([0.5, 1.0]), Measured("inputs", PULSES, 8, None, 60.0)]
    file = tmp_path / "growth.csv"
    file.write_text(as_csv(growth.ROWS, growth.csv_rows(known)))
    assert growth.kept(file, ["inputs"]) == known
    assert growth.kept(file, ["tick"]) == []
    assert "cut off after 20 or 60 s of CPU time" in report(known)


@pytest.mark.slow
def test_a_profile_of_the_explorer_measures_every_part():
    pytest.importorskip("llvmlite")
    with explorer_profile.with_parts():
        name, link, latencies = next(explorer_profile.links())
        found = explorer_profile.measure(name, link, latencies, 20_000)
    assert found.kept > 10_000
    assert all(spent > 0 for spent in found.parts.values())
    assert found.parts["unpacked"] < found.parts["found"]
    assert "| unpack |" in explorer_profile.report([found])
