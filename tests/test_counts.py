"""Lengths of the transmitter that are worked out: they run on its clock like any other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import pytest

from verify.engines.answer import Budget, Progress, Verdict
from verify.errors import LinkFileError, UsageError
from verify.language import expressions as ex
from verify.language.durations import is_rest
from verify.language.machine import Each, Machine, Rule
from verify.language.state import Timer, unknown
from verify.linkfile import parse
from verify.parts.clock import Clock
from verify.parts.scheme import Scheme
from verify.parts.signals import PRESS, line_fall, line_rise
from verify.questions.judging import Subject, judge
from verify.questions.margin import Margin, margin
from verify.questions.rate_margin import RateMargin, rate_margin

WIDTHS = """
tick = "10 ms"
[inputs]
names = ["tenor", "treble"]
[link]
scheme = "own"
tables.width = [8, 12]
[transmitter]
timers.high = 20
{memory}
[[transmitter.rules]]
when = "high.ends"
do = ["line.down()"]
[[transmitter.rules]]
each = "press"
when = "not high.runs and not high.ends"
do = ["line.up()", {do}]
[receiver]
timers.clock = 30
[[receiver.rules]]
when = "line.rises"
do = ["clock.start(30)"]
[[receiver.rules]]
when = "line.falls"
do = ["strike(find([[7, 10], [11, 16]], 30 - clock.left))", "clock.stop()"]
[operator]
spacing = 40
"""
# The same in several ways: width[input] + 1 ticks.
SUM = WIDTHS.format(memory="", do='"high.start(width[input] + 1)"')
PLAIN = WIDTHS.format(memory="", do='"high.start(width[input])"').replace("[8, 12]", "[9, 13]")
NUMBER = WIDTHS.format(
    memory="numbers.more = { range = [0, 5], start = 1 }", do='"high.start(width[input] + more)"'
)
PICKED = WIDTHS.format(memory="", do='"high.start(width[input] + pick(0, 1))"')


def wander_of(text: str) -> Margin:
    return margin(parse(text, "widths.toml"), "clock.wander", "auto", Progress())


def rate_of(text: str) -> RateMargin:
    return rate_margin(parse(text, "widths.toml"), "auto", Progress(), Budget(60))


def test_a_length_that_is_a_sum_wanders_like_any_other() -> None:
    told, summed = wander_of(PLAIN).most, wander_of(SUM).most
    assert (told.verdict, told.amount) == (Verdict.HOLDS, 1)
    assert (summed.verdict, summed.amount) == (told.verdict, told.amount)
    # The least that the number might be is a tick less, the run is no other.
    assert wander_of(NUMBER).most.amount == 1


def errors_of(text: str) -> tuple[Fraction | None, Fraction | None]:
    found = rate_of(text)
    assert {found.least.verdict, found.most.verdict} == {Verdict.HOLDS}
    return found.least.amount, found.most.amount


@pytest.mark.parametrize("text", [SUM, NUMBER])
def test_a_length_that_is_worked_out_is_as_long_at_every_rate(text: str) -> None:
    assert errors_of(text) == errors_of(PLAIN)


def test_a_length_that_is_picked_lasts_whole_periods_at_every_rate() -> None:
    short, long = errors_of(PLAIN.replace("[9, 13]", "[8, 12]")), errors_of(PLAIN)
    picked = errors_of(PICKED)
    assert picked == tuple(min(pair) for pair in zip(short, long, strict=True))


@dataclass(frozen=True)
class Late(Scheme):
    """The same link, of which nobody knows whether its marks are a tick longer."""

    same: Scheme

    @property
    def inputs(self) -> int:
        return self.same.inputs

    def per_input(self) -> dict[str, tuple[int, ...]]:
        return {}

    def settings(self) -> dict[str, str | int]:
        return {}

    def transmitter(self) -> tuple[Machine, ...]:
        late = unknown("sender.late", 0, 1)
        high = Timer("sender.high", 20)
        pressed = PRESS.occurrence("p")
        length = ex.Lookup((8, 12), pressed["input"]) + late.read()
        mark = (line_rise(0).emit(), high.start(length))
        rules = (
            Rule("over", high.expires(), (line_fall(0).emit(),)),
            Each(PRESS, "p", (Rule("mark", ~high.running() & ~high.expires(), mark),)),
        )
        return (Machine("sender", (late, high), rules),)

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        return self.same.receiver(branch, delay)


def test_an_unknown_of_the_transmitter_is_told_by_its_clock() -> None:
    link = parse(PLAIN, "widths.toml")
    late = replace(link, scheme=Late(link.scheme))
    found = rate_margin(late, "auto", Progress(), Budget(60))
    assert (found.least.amount, found.most.amount) == errors_of(PICKED)

    rated = replace(late, clock=Clock(rate=(Fraction(-1, 20), Fraction(1, 20))))
    too_far = replace(late, clock=Clock(rate=(Fraction(0), Fraction(1, 8))))
    assert judge(Subject(rated), "solver", Progress()).verdict is Verdict.HOLDS
    for engine in ("solver", "explorer", "simulator"):
        assert judge(Subject(too_far), engine, Progress()).verdict is Verdict.FAILS


MEASURES = SUM.replace("timers.high = 20", "timers.high = 20\ntimers.since = 100").replace(
    '["line.up()"', '["since.start(find([[0, 3], [4, 9]], since.left) + 9)", "line.up()"'
)


def test_a_transmitter_that_measures_says_that_its_rate_cannot_be_off() -> None:
    with pytest.raises(LinkFileError, match="counts out lengths") as refused:
        parse(MEASURES + '[clock]\nrate = ["-1 %", "1 %"]\n', "widths.toml")
    assert refused.value.key == "clock.rate"
    with pytest.raises(UsageError, match=r"^clock.rate: allowed: a transmitter that counts out"):
        rate_of(MEASURES)
    assert wander_of(MEASURES).most.verdict is Verdict.HOLDS


def test_a_length_looked_up_by_what_is_left_is_a_period_of_its_own() -> None:
    left = Timer("clock", 3).left

    assert is_rest(left + 1)
    assert not is_rest(ex.Lookup((2, 5, 4, 9), left))
