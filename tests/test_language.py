"""The modelling language: what it refuses, and that its two readings agree."""

from __future__ import annotations

import re

import pytest
import z3
from hypothesis import given
from hypothesis import strategies as st

from verify.engines.concrete import Compiled
from verify.engines.symbolic import Symbolic
from verify.errors import ModelError
from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Machine, Offer, Rule, System
from verify.language.state import Bank, Signal, Timer, flag, mode, number, unknown

GO = Signal("go", ("value",))
OUT = Signal("out", ("value",))


def operator(*memory: object, count: int = 8) -> Machine:
    """Lets ``go`` happen with any number below ``count``."""
    del memory
    return Machine("operator", (), (), Offer(GO, count, "g", ex.Truth(True), ()))


def system(*machines: Machine, count: int = 8) -> System:
    return System((operator(count=count), *machines))


# -- what is refused ------------------------------------------------------------


def test_a_rule_without_a_trigger_is_refused() -> None:
    up = flag("up")

    with pytest.raises(ModelError, match="has a rule that needs no trigger: when idle"):
        Machine("m", (up,), (Rule("when idle", ~up.up(), (up.put_up(),)),))


def test_a_trigger_on_one_side_of_an_or_is_not_enough() -> None:
    up = flag("up")

    with pytest.raises(ModelError, match="needs no trigger"):
        Machine("m", (up,), (Rule("either", up.up() | GO.happens(), (up.put_down(),)),))


def test_memory_of_another_machine_cannot_be_written() -> None:
    other = flag("other")

    with pytest.raises(ModelError, match="'m' writes 'other', which is not its memory"):
        Machine("m", (), (Rule("r", GO.happens(), (other.put_up(),)),))


def test_two_pieces_of_memory_of_one_name_are_refused() -> None:
    a = Machine("a", (flag("x"),), ())
    b = Machine("b", (number("x", 0, 3),), ())

    with pytest.raises(ModelError, match="two pieces of memory are called 'x'"):
        system(a, b)


def test_listening_to_a_later_machine_is_refused() -> None:
    early = Machine("early", (), (Rule("r", OUT.happens(), ()),))
    late = Machine("late", (), (Each(GO, "g", (OUT.emit(0),)),))

    with pytest.raises(ModelError, match=re.escape("'early' listens to 'out', which 'late' emits")):
        system(early, late)


def test_a_restraint_may_not_wake_a_machine() -> None:
    timer = Timer("t", 5, restraint=True)
    machine = Machine("m", (timer,), (Rule("r", timer.expires(), ()),))

    with pytest.raises(ModelError, match="restraint 't' may not wake a machine"):
        Compiled(system(machine))


def test_a_number_out_of_bounds_is_refused() -> None:
    small = number("small", 0, 3)
    machine = Machine("m", (small,), (Each(GO, "g", (small.set(GO.occurrence("g")["value"]),)),))
    compiled = Compiled(system(machine))

    with pytest.raises(ModelError, match="'small' set to 7; allowed: 0 to 3"):
        compiled.step(next(compiled.starts()), 1, (7,))


def test_taking_an_entry_that_nobody_bound_is_refused() -> None:
    bank = Bank("b", ())
    machine = Machine("m", (bank,), (Rule("r", GO.happens(), (bank.entry("e").take(),)),))

    with pytest.raises(ModelError, match="'e' is taken outside the statement that binds it"):
        Compiled(system(machine))


# -- meaning --------------------------------------------------------------------


def run(made: System, *steps: tuple[int, tuple[int, ...]]) -> list[tuple[int, ...]]:
    """Values of OUT in the order in which they happen."""
    compiled = Compiled(made)
    state, said = next(compiled.starts()), []
    for passed, taken in steps:
        result = compiled.step(state, passed, taken)
        assert result is not None
        state, log = result
        said += [values for signal, values in log if signal == OUT]
    return said


def test_first_fires_only_the_first_rule_whose_guard_holds() -> None:
    always = GO.happens()
    machine = Machine(
        "m", (), (First((Rule("a", always, (OUT.emit(1),)), Rule("b", always, (OUT.emit(2),)))),)
    )

    assert run(system(machine), (1, (0,))) == [(1,)]


def test_statements_see_the_effect_of_those_above() -> None:
    up = flag("up")
    machine = Machine(
        "m",
        (up,),
        (
            Rule("raise", GO.happens(), (up.put_up(),)),
            Rule("tell", GO.happens() & up.up(), (OUT.emit(1),)),
        ),
    )

    assert run(system(machine), (1, (0,))) == [(1,)]


def test_a_timer_wakes_its_machine_once_after_its_length() -> None:
    timer = Timer("t", 9)
    machine = Machine(
        "m",
        (timer,),
        (
            Each(GO, "g", (timer.start(3),)),
            Rule("end", timer.expires(), (OUT.emit(1),)),
        ),
    )

    assert run(system(machine), (1, (0,)), (2, ())) == []
    assert run(system(machine), (1, (0,)), (2, ()), (1, ())) == [(1,)]
    assert run(system(machine), (1, (0,)), (3, ())) == [(1,)]


def test_equal_occurrences_of_a_signal_in_one_tick_are_one() -> None:
    machine = Machine("m", (), (Each(GO, "g", (OUT.emit(5),)),))

    assert run(system(machine), (1, (0, 1, 2))) == [(5,)]


def test_earliest_takes_the_entry_that_runs_out_soonest() -> None:
    bank = Bank("b", ("tag",))
    entry = bank.entry("e")
    machine = Machine(
        "m",
        (bank,),
        (
            Rule(
                "pop",
                GO.happens() & (bank.size() >= 2),
                (Earliest(bank, "e", ex.Truth(True), (entry.take(), OUT.emit(entry["tag"]))),),
            ),
            Each(
                GO,
                "g",
                (
                    bank.put(
                        ex.Constant(9) - GO.occurrence("g")["value"], GO.occurrence("g")["value"]
                    ),
                ),
            ),
        ),
    )

    # Lengths 9 - 1, 9 - 4, put in this order; the third press takes the second entry.
    assert run(system(machine), (1, (1,)), (1, (4,)), (1, (0,))) == [(4,)]


def test_an_entry_of_length_zero_runs_out_in_the_tick_in_which_it_is_put() -> None:
    bank = Bank("b", ())
    machine = Machine(
        "m",
        (bank,),
        (Each(GO, "g", (bank.put(0),)), Each(bank, "e", (OUT.emit(1),), expired=True)),
    )

    assert run(system(machine), (1, (0,)), (1, ())) == [(1,)]


def test_outcomes_tries_every_pick() -> None:
    machine = Machine(
        "m", (), (Each(GO, "g", (OUT.emit(ex.Pick("a", 0, 2)), OUT.emit(ex.Pick("b", 5, 6)))),)
    )
    compiled = Compiled(system(machine))

    seen = [
        (picked, [v for s, v in log if s == OUT])
        for _, log, picked in compiled.outcomes(next(compiled.starts()), 1, (0,))
    ]

    pairs = [(a, b) for a in (0, 1, 2) for b in (5, 6)]
    assert [picked for picked, _ in seen] == [(("a", a), ("b", b)) for a, b in pairs]
    assert [said for _, said in seen] == [[(a,), (b,)] for a, b in pairs]


def test_unknowns_give_one_start_per_value() -> None:
    hidden = unknown("hidden", 2, 5)
    compiled = Compiled(system(Machine("m", (hidden,), ())))

    assert [state[0] for state in compiled.starts()] == [2, 3, 4, 5]


# -- the two readings -------------------------------------------------------------

VALUE = GO.occurrence("g")["value"]


def numbers() -> st.SearchStrategy[ex.Int]:
    leaves = st.one_of(
        st.integers(-3, 9).map(ex.Constant),
        st.just(VALUE),
        st.just(ex.Read(number("n", -99, 999))),
        st.just(Timer("t", 99).left),
        st.just(Bank("b", ("tag",)).size()),
    )
    return st.recursive(
        leaves,
        lambda inner: st.one_of(
            st.builds(ex.Plus, inner, inner),
            st.builds(ex.Minus, inner, inner),
            st.builds(ex.Find, st.just(((1, 2), (4, 4), (6, 9))), inner),
            st.just(ex.Lookup((4, 4, 7, 1, 0, 3, 3, 9), VALUE)),
        ),
        max_leaves=5,
    )


def truths() -> st.SearchStrategy[ex.Bool]:
    tag = Bank("b", ("tag",)).entry("x")["tag"]
    leaves = st.one_of(
        st.booleans().map(ex.Truth),
        st.builds(ex.Equal, numbers(), numbers()),
        st.builds(ex.Less, numbers(), numbers()),
        st.just(GO.happens()),
        st.just(Timer("t", 99).expires()),
        st.builds(lambda n: ex.Exists(Bank("b", ("tag",)), "x", ex.Less(tag, n)), numbers()),
    )
    return st.recursive(
        leaves,
        lambda inner: st.one_of(
            st.builds(ex.And, inner, inner),
            st.builds(ex.Or, inner, inner),
            st.builds(ex.Not, inner),
        ),
        max_leaves=4,
    )


@given(truths(), numbers(), st.lists(st.integers(0, 7), min_size=1, max_size=3), st.integers(0, 1))
def test_every_expression_means_the_same_to_both_readings(
    guard: ex.Bool, value: ex.Int, presses: list[int], waits: int
) -> None:
    """Three presses with unknown inputs, then the solver is told the inputs: same states."""
    n, t, b = number("n", -99, 999), Timer("t", 99), Bank("b", ("tag",))
    machine = Machine(
        "m",
        (n, t, b),
        (
            Rule("end", t.expires(), (n.set(n.read() + 1),)),
            Each(
                GO,
                "g",
                (
                    Rule("set", guard, (n.set(ex.Find(((0, 5),), value) + VALUE),)),
                    t.start(ex.Lookup((1, 2, 3, 4, 5, 6, 7, 8), VALUE)),
                    b.put(ex.Lookup((2, 1, 4, 3, 6, 5, 8, 7), VALUE), VALUE),
                ),
            ),
        ),
    )
    made = system(machine)
    compiled, symbolic = Compiled(made), Symbolic(made)
    state = next(compiled.starts())
    meant, given_ = symbolic.start()
    inputs = [z3.Int(f"i{k}") for k in range(len(presses))]

    for index, value_ in zip(inputs, presses, strict=True):
        passed = 1
        if waits:
            event = compiled.next_event(state)
            passed = event if event is not None else 1
        result = compiled.step(state, passed, (value_,))
        assert result is not None
        state = result[0]
        _, outcome = symbolic.step(meant, passed, (index,), lambda pick: pick.least)
        meant, given_ = outcome.state, [*given_, *outcome.given]

    told = [z3.IntVal(v) for v in presses]

    def known(term: object) -> int:
        if isinstance(term, (int, bool)):
            return int(term)
        value_ = z3.simplify(z3.substitute(term, *zip(inputs, told, strict=True)))
        return bool(z3.is_true(value_)) if z3.is_bool(value_) else value_.as_long()

    assert known(meant[0]) == state[0]
    assert known(meant[1]) == state[1]
    entries = [
        (known(slot.left), *map(known, slot.fields)) for slot in meant[2] if known(slot.there)
    ]
    assert tuple(sorted(entries)) == state[2]


def test_modes_have_names() -> None:
    m = mode("m", "idle", "busy")

    assert m.go("busy").value == ex.Constant(1)
    with pytest.raises(ValueError, match="not in tuple"):
        m.at("gone")
