"""Certificates: those of demo links are confirmed by both solvers, changed ones are refused."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from verify.cli import main
from verify.engines.answer import Budget, Progress
from verify.linkfile import load
from verify.questions.certify import certified
from verify.questions.judging import Subject, judge
from verify.questions.rechecking import recheck
from verify.recheck.certificate import Certificate, certificate_of, text_of
from verify.recheck.solvers import solver_of

LINKS = Path(__file__).parent.parent / "models" / "links"
# About a second or more of work.
LONG = {"bird_hide", "biphase_mark_18", "biphase_mark_32", "card_reader", "dcc_bit"}
LONG |= {"greenhouse", "lock_gates", "settling_edges", "stage_lamps", "start_stop", "weather_mast"}
OTHERS = re.compile(r"^\[code\]|^ask = ", re.MULTILINE)  # files of code words, and sweeps
DEMOS = sorted(
    path.stem for path in LINKS.glob("*.toml") if not OTHERS.search(path.read_text("utf-8"))
)
FAILING = {"bird_hide", "puppet_theatre"}


def made(name: str) -> Certificate:
    path = LINKS / f"{name}.toml"
    subject = Subject(load(path))
    judged = judge(subject, "auto", Progress(), budget=Budget(60))
    return certified(subject, path.read_text("utf-8"), judged, Budget(100), Progress())


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=[pytest.mark.slow] if name in LONG else []) for name in DEMOS],
)
def test_certificates_of_demo_links_are_confirmed_by_both_solvers(name: str) -> None:
    read = certificate_of(text_of(made(name)), name)
    assert read.verdict == ("fails" if name in FAILING else "holds")

    found = recheck(read, name, {"z3": solver_of("z3"), "cvc5": solver_of("cvc5")})

    assert (found.verdict, found.reason) == ("confirmed", "")
    assert set(found.answers.values()) <= {found.queries}
    assert (found.queries > 0) == (read.verdict == "holds")


def test_a_link_in_python_has_no_certificate_and_is_told_why(tmp_path: Path) -> None:
    (tmp_path / "wires.py").write_text(
        "from models.wire_per_input import WirePerInput\n"
        "def scheme(inputs, tables):\n    return WirePerInput(inputs)\n"
    )
    link = tmp_path / "wires.toml"
    link.write_text(
        'tick = "1 s"\n[inputs]\ncount = 2\n[link]\nscheme = "own"\npython = "wires.py"\n'
    )
    out = tmp_path / "wires.json"

    found = CliRunner().invoke(
        main, ["check", str(link), "--allow-code", "--certificate", str(out), "--quiet"]
    )

    assert found.exit_code == 3
    assert "link.python is a file of Python code, and recheck builds" in found.stderr
    assert not out.exists()


def test_a_certificate_without_the_states_at_power_up_is_refused() -> None:
    whole = made("carillon")
    (invariant,) = whole.invariants
    fewer = invariant.model_copy(update={"groups": invariant.groups[1:]})
    changed = whole.model_copy(update={"invariants": [fewer]})

    assert recheck(changed, "x", {"z3": solver_of("z3")}).verdict == "refused"


def test_a_certificate_of_a_closer_spacing_is_refused() -> None:
    whole = made("carillon")
    changed = whole.model_copy(update={"link": whole.link.replace("spacing = 16", "spacing = 15")})

    assert recheck(changed, "x", {"z3": solver_of("z3")}).verdict == "refused"
