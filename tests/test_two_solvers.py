"""Proofs about random links: two solvers give the same answer to every query.

A group left out of an invariant mostly makes some query false, so both answers are met.
"""

from __future__ import annotations

import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from tests.links import framed_serials, links, owns, parallel_codes, pulse_gaps
from tests.nightly import examples
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.zones import zones_of
from verify.parts.link import Link
from verify.questions.cases import cases
from verify.questions.certify import _group
from verify.questions.judging import Subject, judge
from verify.recheck.claims import queries
from verify.recheck.groups import Invariant
from verify.recheck.relation import Relation
from verify.recheck.solvers import solver_of

# Small ones: a proof of a thousand groups takes a minute to recheck.
SMALL = st.one_of(pulse_gaps(2), parallel_codes(2), framed_serials(2), owns())
MOST_GROUPS = 40


@pytest.mark.slow
@given(links(SMALL), st.data())
@examples(8)
def test_solvers_agree_on_every_query_about_random_links(link: Link, data: st.DataObject) -> None:
    pytest.importorskip("cvc5")
    subject = Subject(link.with_operator(spacing=data.draw(st.sampled_from([6, 12, 24]))))
    case = data.draw(st.sampled_from(list(cases(subject, "parts"))))
    answer, zones = zones_of(case.system, Budget(2), Progress())
    assume(answer.verdict is Verdict.HOLDS and len(zones) <= MOST_GROUPS)
    groups = [_group(case.system, zone) for zone in zones]
    left_out = data.draw(st.integers(0, len(groups)))
    kept = tuple(group for k, group in enumerate(groups, 1) if k != left_out)
    invariant = Invariant(Relation(case.system), kept)

    found = {}
    for solver in ("z3", "cvc5"):
        ask = solver_of(solver)
        found[solver] = [ask(query.text) for query in queries(invariant)]
    event("whole" if left_out == 0 else "a group left out")

    assert found["z3"] == found["cvc5"]
    if left_out == 0:
        assert set(found["z3"]) == {"unsat"}
        assert judge(subject, "explorer", Progress(), budget=Budget(2)).verdict is not Verdict.FAILS
