"""Certificates of few groups: of random links, of many codes on lines whose edges come in any
order, changed ones, and ones forced upon links that fail."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import combinations
from typing import Any

import pytest
from hypothesis import assume, event, example, given
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from tests.links import (
    even_gaps,
    framed_serials,
    links,
    make_link,
    owns,
    parallel_codes,
    pulse_gaps,
    schemes,
)
from tests.nightly import examples
from verify.engines import joined
from verify.engines.answer import Budget, OutOfTimeError, Progress, Verdict
from verify.engines.joined import few_zones
from verify.language.machine import System
from verify.language.state import Signal
from verify.linkfile import load, parse
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause
from verify.questions.cases import Case, cases
from verify.questions.certify import certified, of_joined
from verify.questions.judging import Subject, judge
from verify.questions.polyhedra import groups_of
from verify.questions.rechecking import Rechecked, recheck
from verify.recheck.certificate import certificate_of, text_of
from verify.recheck.claims import queries
from verify.recheck.groups import Group, Invariant
from verify.recheck.relation import Relation
from verify.recheck.solvers import SolverName, solver_of

Z3 = solver_of("z3")
# Holds whether or not what settles at the far end stands still for a while.
SETTLING = make_link(ParallelCode((1, 2), 2, 3), Operator(60, hold=(8, 8)))
SMALL = st.one_of(pulse_gaps(2), parallel_codes(2), framed_serials(2), owns())


def proved(case: Case) -> bool | None:
    """Whether the groups that are found are confirmed; None: there are none."""
    try:
        groups = of_joined(case.system, Budget(2, states=2_000), Progress())
    except OutOfTimeError:
        groups = None
    if groups is None or len(groups) > 40:
        return None
    invariant = Invariant(Relation(case.system), tuple(groups))
    return all(Z3(query.text) == "unsat" for query in queries(invariant))


def skewed(codes: tuple[int, ...], spacing: int, hold: int, skew: int = 2) -> Link:
    scheme = ParallelCode(codes, max(codes).bit_length(), 1)
    return make_link(scheme, Operator(spacing, hold=(hold, hold)), faults=Faults(skew=skew))


def assert_shown_only_what_is_so(link: Link, spacing: int) -> None:
    if spacing:
        link = link.with_operator(spacing=spacing)
    subject = Subject(link)
    of_cases = [proved(case) for case in cases(subject, "parts")]
    event(f"{set(of_cases)}")

    # A search that says more than is so would be refused.
    assert False not in of_cases
    if None not in of_cases:
        judged = judge(subject, "explorer", Progress(), budget=Budget(2))
        assert judged.verdict is not Verdict.FAILS


@given(links(SMALL), st.sampled_from([0, 6, 12, 24]))
@example(skewed((1, 2, 3), 8, 4), 0)
@example(skewed((1, 2, 3), 8, 4), 24)
@examples(25)
def test_what_joined_zones_show_is_confirmed_and_so(link: Link, spacing: int) -> None:
    assert_shown_only_what_is_so(link, spacing)


@given(
    links(st.one_of(SMALL, schemes), faulty=False),
    st.builds(Pause, st.integers(1, 5), st.integers(1, 2), st.sampled_from(End)),
    st.sampled_from([0, 12, 30]),
)
@example(SETTLING, Pause(3, 1, End.RECEIVER), 0)
@example(SETTLING, Pause(2, 1, End.EITHER), 0)
@example(make_link(even_gaps(2), Operator(30)), Pause(1, 1, End.RECEIVER), 0)
@examples(25)
def test_what_is_shown_of_pauses_of_any_length_is_confirmed_and_so(
    link: Link, pause: Pause, spacing: int
) -> None:
    assert_shown_only_what_is_so(replace(link, pause=pause), spacing)


@pytest.mark.parametrize(("most", "confirmed"), [(3, True), (4, False)])
def test_groups_of_shorter_pauses_are_none_of_longer_ones(most: int, confirmed: bool) -> None:
    def system(most: int) -> System:
        # All strikes within 40 ticks are in time, so that windows do not depend on the pause.
        link = replace(SETTLING, pause=Pause(most, 1, End.RECEIVER), within=(0, 40))
        [case] = cases(Subject(link), "parts")
        return case.system

    groups = of_joined(system(3), Budget(states=20_000), Progress())
    assert groups is not None
    invariant = Invariant(Relation(system(most)), tuple(groups))

    assert all(Z3(query.text) == "unsat" for query in queries(invariant)) == confirmed


@pytest.mark.parametrize(("most", "end"), [(3, End.RECEIVER), (3, End.EITHER), (1000, End.EITHER)])
def test_a_long_pause_takes_no_more_zones_than_a_short_one(most: int, end: End) -> None:
    def zones(pause: Pause) -> int:
        link = replace(load("models/links/card_reader.toml"), pause=pause)
        [case] = cases(Subject(link), "parts")
        found = few_zones(case.system, Budget(states=20_000), Progress())
        assert found is not None
        return len(found[0])

    assert zones(Pause(most, 1, end)) == zones(Pause(2, 1, end))


def test_how_long_a_pause_may_be_is_found_to_the_tick() -> None:
    """Two lines that tell the bits by themselves: only the next press ends it. A message takes
    276 ticks, presses come 1500 apart, so one that stops for 1224 is still being sent then."""
    link = load("models/links/card_reader.toml")

    def judged(most: int) -> tuple[Verdict, str]:
        stopping = Subject(replace(link, pause=Pause(most)))
        found = judge(stopping, "auto", Progress(), budget=Budget(60))
        return found.verdict, found.engine

    assert judged(1223) == (Verdict.HOLDS, "zones")
    assert judged(1224) == (Verdict.FAILS, "simulator")


@given(links(SMALL), st.integers(0, 3))
@example(skewed((1, 2, 3), 5, 3), 3)
@examples(12)
def test_what_is_forced_upon_links_that_fail_is_refused(link: Link, spacing: int) -> None:
    subject = Subject(link.with_operator(spacing=spacing))
    judged = judge(subject, "explorer", Progress(), budget=Budget(2), brief=True)
    assume(judged.verdict is Verdict.FAILS)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(joined, "failure", lambda branch: Signal("none"))
        of_cases = [proved(case) for case in cases(subject, "parts")]

    event(f"{set(of_cases)}")
    assert not all(of_cases)


# -- many codes --------------------------------------------------------------------------

CODES = """tick = "50 ms"
name = "x"
[inputs]
count = {count}
[link]
scheme = "parallel-code"
codes = {codes}
lines = {lines}
settle = 3
[line]
skew = 2
[operator]
spacing = 20
hold = 9
"""


@cache
def of_codes(weight: int, lines: int, count: int) -> str:
    """The certificate of so many codes of so many lines each."""
    words = [sum(1 << k for k in on) for on in combinations(range(lines), weight)][:count]
    text = CODES.format(count=count, codes=words, lines=lines)
    subject = Subject(parse(text, "x"))
    judged = judge(subject, "auto", Progress(), budget=Budget(60))
    assert judged.verdict is Verdict.HOLDS
    return text_of(certified(subject, text, judged, Budget(60), Progress()))


def asked(text: str, *solvers: Any) -> Rechecked:
    return recheck(certificate_of(text, "x"), "x", {s: solver_of(s) for s in solvers or ["z3"]})


@pytest.mark.parametrize(
    ("weight", "lines", "count", "most", "solvers"),
    [
        (2, 5, 10, 150, ["z3", "cvc5"]),
        pytest.param(3, 6, 20, 500, ["z3"], marks=pytest.mark.slow),
    ],
)
def test_codes_under_skew_have_certificates_of_few_groups(
    weight: int, lines: int, count: int, most: int, solvers: list[str]
) -> None:
    found = asked(of_codes(weight, lines, count), *solvers)

    assert (found.verdict, found.reason) == ("confirmed", "")
    assert found.groups < most


def _first(group: Callable[[dict[str, Any]], bool], what: Callable[[dict[str, Any]], None]) -> Any:
    def change(whole: dict[str, Any]) -> None:
        what(next(g for g in whole["invariants"][0]["groups"] if group(g)))

    return change


def _limit(whole: dict[str, Any], kind: str, factor: int, by: int) -> None:
    """Every limit, above or below, on one variable only of that kind says less, or more."""
    changed = 0
    for group in whole["invariants"][0]["groups"]:
        for limit in group["limits"]:
            [name, *others] = limit[1]
            if not others and name[0] == kind and limit[1][name] == factor:
                limit[0] += by
                changed += 1
    assert changed


def _without(k: int) -> Callable[[dict[str, Any]], None]:
    return lambda whole: whole["invariants"][0]["groups"].pop(k)


def _known(whole: dict[str, Any]) -> None:
    """How late the lines are, as if it were known."""
    for group in whole["invariants"][0]["groups"]:
        group["places"] = [
            0 if isinstance(place, str) and place[0] == "n" else place for place in group["places"]
        ]
        group["limits"] = [
            limit for limit in group["limits"] if all(name[0] == "t" for name in limit[1])
        ]


@pytest.mark.parametrize(
    "change",
    [
        _without(0),
        _without(7),
        _without(-1),
        _known,
        lambda whole: _limit(whole, "n", 1, -1),
        lambda whole: _limit(whole, "n", 1, 1),
        lambda whole: _limit(whole, "n", -1, -1),
        lambda whole: _limit(whole, "n", -1, 1),
        lambda whole: _limit(whole, "t", 1, -1),
        lambda whole: _limit(whole, "t", -1, -1),
        lambda whole: whole.update(link=whole["link"].replace("skew = 2", "skew = 3")),
        lambda whole: whole.update(link=whole["link"].replace("spacing = 20", "spacing = 11")),
        lambda whole: whole.update(link=whole["link"].replace("settle = 3", "settle = 0")),
        lambda whole: whole.update(link=whole["link"].replace("codes = [3, ", "codes = [7, ")),
        lambda whole: whole["invariants"][0]["groups"].insert(
            0, whole["invariants"][0]["groups"][1] | {"limits": []}
        ),
    ],
    ids=range(15),
)
def test_a_change_is_refused(change: Callable[[dict[str, Any]], object]) -> None:
    whole = copy.deepcopy(json.loads(of_codes(2, 4, 6)))
    change(whole)

    assert asked(json.dumps(whole)).verdict == "refused"


def test_what_is_not_changed_is_not_refused() -> None:
    assert asked(of_codes(2, 4, 6)).verdict == "confirmed"


# -- queues that are not counted ------------------------------------------------------------


@pytest.mark.slow
def test_a_queue_that_pairs_of_presses_bound_has_linear_limits() -> None:
    scheme = FramedSerial((1, 0), 1, 3, 3, stop=0, busy="queue", leader=2)

    def case_of(least: int) -> Case:
        pairs = ((11, least), (11, least))
        (case,) = cases(Subject(make_link(scheme, Operator(repeat=8, pairs=pairs))), "parts")
        return case

    groups = groups_of(case_of(3).system, Budget(60), Progress())

    def all_unsat(case: Case, kept: tuple[Group, ...], solver: SolverName = "z3") -> bool:
        ask = solver_of(solver)
        asked = queries(Invariant(Relation(case.system), kept))
        return all(ask(query.text) == "unsat" for query in asked)

    assert all_unsat(case_of(3), groups)
    assert all_unsat(case_of(3), groups, "cvc5")
    # Presses closer together, a group left out.
    assert not all_unsat(case_of(0), groups)
    assert not all_unsat(case_of(3), groups[1:])
