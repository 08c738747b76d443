"""Certificates: those of demo links are confirmed by both solvers, changed ones are refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from verify.engines.answer import Budget, Progress
from verify.linkfile import load
from verify.questions.certify import certified
from verify.questions.judging import Subject, judge
from verify.questions.rechecking import recheck
from verify.recheck.certificate import Certificate, certificate_of, text_of
from verify.recheck.solvers import solver_of

LINKS = Path(__file__).parent.parent / "models" / "links"
QUICK = ["carillon", "carillon_two_towers", "infrared_bits", "second_marks", "puppet_theatre"]
LONG = ["greenhouse", "stage_lamps", "weather_mast", "dcc_bit", "start_stop", "card_reader"]


def made(name: str) -> Certificate:
    path = LINKS / f"{name}.toml"
    subject = Subject(load(path))
    judged = judge(subject, "auto", Progress(), budget=Budget(60))
    return certified(subject, path.read_text("utf-8"), judged, Budget(100), Progress())


@pytest.mark.parametrize(
    "name", [*QUICK, *(pytest.param(name, marks=pytest.mark.slow) for name in LONG)]
)
def test_certificates_of_demo_links_are_confirmed_by_both_solvers(name: str) -> None:
    read = certificate_of(text_of(made(name)), name)

    found = recheck(read, name, {"z3": solver_of("z3"), "cvc5": solver_of("cvc5")})

    assert (found.verdict, found.reason) == ("confirmed", "")


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
