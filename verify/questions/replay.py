"""A recording of the real build against the model: where do they part, which part of the link
is to blame, and which disturbance would explain it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING, Literal, TypeVar

from verify.engines import memory
from verify.engines.answer import Budget, Progress, SpentError
from verify.engines.conform import TooManyWaysError
from verify.errors import DisagreementError
from verify.parts.link import Link
from verify.questions.disturbed import (
    SIGNED,
    Explained,
    Within,
    disturbed,
    exactly_known,
    explain,
    least_words,
    refuted,
    stopped,
)
from verify.questions.holding import (
    Change,
    Held,
    Parting,
    Stop,
    Warnings,
    due_outputs,
    from_inputs,
    hold,
    nominal,
    quiet_of,
    stretches,
)
from verify.questions.judging import Subject
from verify.recordings.recording import Recording, names_text, signals_of
from verify.units import Ticks, whole

if TYPE_CHECKING:
    from verify.questions.all_rates import Span

# Amounts tried one after the other, each where the one before it does not do.
MOST_TURNS = 50

Verdict = Literal["agrees", "parts", "decoded", "undecided"]


@dataclass(frozen=True)
class Whole:
    """What all of the recording says to a kind of disturbance: the least amount with which it
    agrees from beginning to end, or that none does, or that this is open, for ``why``."""

    verdict: Literal["explains", "none", "undecided"]
    amount: Ticks | None
    why: str = ""


@dataclass(frozen=True)
class Replay:
    """``due``: what the model's outputs do around the parting, from what was recorded before
    the place that parted; ``seen``: what the recording has there. ``explained``: per disturbance
    asked about, in order, and what the whole recording says to it. ``rate``: of the
    transmitter's clock, at which it agrees, within the file's range."""

    verdict: Verdict
    held: Held
    due: tuple[Change, ...]
    seen: tuple[Change, ...]
    explained: tuple[tuple[Explained, Whole | None], ...]
    notes: tuple[str, ...]
    rate: Fraction | None = None


def replay(
    subject: Subject,
    recording: Recording,
    within: Sequence[Within],
    warn: Warnings,
    progress: Progress,
    budget: Budget,
    *,
    tolerance: int | None = None,
) -> Replay:
    """Hold a recording against a link. ``within``: disturbances that might explain it.

    Raises RecordingError, UsageError.
    """
    asked = _Asked(subject, recording, warn, progress, budget, tolerance)
    return asked.answer(within)


class _Asked:
    def __init__(
        self,
        subject: Subject,
        recording: Recording,
        warn: Warnings,
        progress: Progress,
        budget: Budget,
        tolerance: int | None,
    ) -> None:
        self.subject, self.recording = subject, recording
        self.warn, self.progress, self.budget = warn, progress, budget
        self.tolerance = tolerance
        self.more = 0
        self.link = nominal(subject.link)

    def answer(self, within: Sequence[Within]) -> Replay:
        self.more = self._more(within)
        self.progress.doing, self.progress.rows = "reading the recording", True
        held = hold(
            self.subject,
            self.link,
            self.recording,
            self.warn,
            self.progress,
            tolerance=self.tolerance,
            more=self.more,
        )
        self.held = held
        notes = self._notes(held)
        if held.undecided:
            return Replay("undecided", held, (), (), (), (*notes, held.undecided))
        if held.parting is None:
            return Replay("agrees" if held.compared else "decoded", held, (), (), (), notes)
        return self._parted(held, held.parting, within, notes)

    def _more(self, within: Sequence[Within]) -> int:
        """Ticks by which what is asked about may put off rest."""
        link = self.subject.link
        longer = [int(w.most) for w in within if w.kind.startswith(("line.", "pause."))]
        rates = [Fraction(w.most) for w in within if w.kind == "clock.rate"]
        quiet = quiet_of(link, self.subject, 0) or 0
        return max(*longer, link.pause.most, ceil(max(rates, default=Fraction(0)) * quiet), 0)

    def _parted(
        self, held: Held, parting: Parting, within: Sequence[Within], notes: tuple[str, ...]
    ) -> Replay:
        verdict: Verdict = "parts"
        due, seen = due_outputs(self.link, parting, held)
        rate: Fraction | None = None
        clock = self.subject.link.clock
        if clock.rated:
            own = Within("clock.rate", max(-clock.rate[0], clock.rate[1]))
            all_of_it, left = self.budget, self.budget.left()
            if within and left is not None:
                # What was asked about has its share of the time.
                self.budget = replace(all_of_it, seconds=left / 2, started=None)
            verdict, rate, note = self._own_rate(held, own, clock.rate)
            self.budget = all_of_it
            notes = (*notes, note)
            if verdict == "agrees":
                return Replay(verdict, replace(held, parting=None), (), (), (), notes, rate)
        if verdict == "parts" and self.subject.link.pause.most:
            verdict, note = self._own_pause(held)
            notes = (*notes, note)
            if verdict == "agrees":
                return Replay(verdict, replace(held, parting=None), (), (), (), notes)
        explained = []
        for asked in within:
            self.progress.doing = f"looking for {asked.kind}"
            found = explain(self.link, asked, held, self.budget)
            everywhere = self._whole(asked, held, parting) if found.link is not None else None
            if besides := self._besides(asked, parting):
                found = _open(found, besides)
                everywhere = everywhere and _open(everywhere, besides)
            explained.append((found, everywhere))
        if len(explained) > 1 and not any(e.verdict == "explains" for e, _ in explained):
            notes = (*notes, "each disturbance was tried by itself, not two at once")
        return Replay(verdict, held, due, seen, tuple(explained), notes, rate)

    def _besides(self, asked: Within, parting: Parting) -> str:
        """What the file allows, too, and was not tried together with what is asked; or nothing."""
        clock, pause = self.subject.link.clock, self.subject.link.pause
        found = []
        off = clock.rated and asked.kind != "clock.rate"
        if off and not exactly_known(self.link, parting.stretch):
            found.append("an error of the clock")
        paused = any(end.value in parting.stretch.parts for end in pause.ends)
        if pause.most and paused and not asked.kind.startswith("pause."):
            found.append("a pause")
        return " and ".join(found)

    def _own_rate(
        self, held: Held, own: Within, rates: tuple[Fraction, Fraction]
    ) -> tuple[Verdict, Fraction | None, str]:
        """What the file allows the clock may be all that differs."""
        found = explain(self.link, own, held, self.budget, rates)
        if found.verdict == "none":
            return "parts", None, "no error of the clock that the file allows explains it"
        if found.verdict == "undecided" or found.amount is None:
            return "undecided", None, f"whether the clock's rate explains it is open: {found.why}"
        everywhere = self._whole(own, held, held.parting, rates)
        if everywhere.verdict == "explains" and everywhere.amount is not None:
            return "agrees", Fraction(everywhere.amount), "with a clock as the file allows it"
        if everywhere.verdict == "none":
            return "parts", None, "no one error of the clock that the file allows explains it all"
        why = everywhere.why
        return "undecided", None, f"whether the clock's rate explains it is open: {why}"

    def _own_pause(self, held: Held) -> tuple[Verdict, str]:
        """A pause that the file allows may be all that differs."""
        pause, clock = self.subject.link.pause, self.subject.link.clock
        open_: list[str] = []
        for end in pause.ends:
            kind = f"pause.{end.value}"
            everywhere = self._any_pause(Within(kind, pause.most), held)
            if everywhere.verdict == "explains":
                return "agrees", f"with a pause of the {end.value} as the file allows it"
            if everywhere.verdict == "undecided":
                open_.append(
                    f"whether a pause of the {end.value} explains it is open: {everywhere.why}"
                )
        if open_:
            return "undecided", "; ".join(open_)
        if pause.times > 1:
            return (
                "undecided",
                "no single pause explains it; several, as the file allows, are not tried",
            )
        if self.link.scheme.warm_up:
            return "undecided", "no pause explains it; one before the recording began is not tried"
        if clock.rated:
            return (
                "undecided",
                "no pause by itself explains it; with a clock that is off, none is tried",
            )
        return "parts", "no pause that the file allows explains it"

    def _any_pause(self, asked: Within, held: Held) -> Whole:
        """The shortest pause with which all of the recording agrees."""
        if held.parting is None:
            raise AssertionError("nothing to explain")
        for turn, found in enumerate(stopped(self.link, asked, held, self.budget)):
            if found.verdict != "explains" or found.link is None:
                return Whole("none" if found.verdict == "none" else "undecided", None, found.why)
            if turn == MOST_TURNS:
                break
            again = self._again(asked, found.link, found.stop)
            if again.undecided:
                return Whole("undecided", None, again.undecided)
            if again.parting is None:
                return Whole("explains", found.amount)
        return Whole("undecided", None, f"it parts again with each of {MOST_TURNS} pauses")

    def _again(
        self,
        asked: Within,
        link: Link,
        stop: Stop | None = None,
        lead: Fraction | None = None,
    ) -> Held:
        """All of the recording held against what explains a place of it."""
        self.progress.doing = f"reading the recording again, with {asked.kind}"
        try:
            return hold(
                self.subject,
                link,
                self.recording,
                Warnings(),
                self.progress,
                tolerance=self.tolerance,
                more=self.more,
                stop=stop,
                lead=lead,
                again=True,
                look=self.budget.look,
            )
        except SpentError:
            return replace(self.held, parting=None, undecided=memory.ran_out())

    def _whole(
        self,
        asked: Within,
        held: Held,
        parting: Parting | None,
        rates: tuple[Fraction, Fraction] | None = None,
    ) -> Whole:
        """The least amount with which all of the recording agrees: where it parts again, more is
        needed there, so what explains that place is tried next. Less has then been refuted."""
        if asked.kind.startswith("pause."):
            return self._any_pause(asked, held)
        if asked.kind == "clock.rate" and parting is not None:
            found = self._any_rate(asked, parting, rates)
            if found is not None:
                return found
        ways = [
            self._more_and_more(asked, held, parting, rates, sign)
            for sign in ((1, -1) if asked.kind in SIGNED else (1,))
        ]
        good = [w for w in ways if w.amount is not None]
        if good:
            return min(good, key=lambda w: abs(Fraction(w.amount or 0)))
        return next((w for w in ways if w.verdict == "undecided"), ways[0])

    def _any_rate(
        self, asked: Within, parting: Parting, rates: tuple[Fraction, Fraction] | None
    ) -> Whole | None:
        """All rates at once, of every receiver. None if the solver may be of more use."""
        from verify.questions.all_rates import RatesStage, in_both, least_of

        self.progress.doing = f"reading the recording again, with {asked.kind}"
        link, recorded = self.link, self.recording.signals
        most = Fraction(asked.most)
        errors = (most, -most) if rates is None else (rates[1], rates[0])
        off = disturbed(link, asked.kind, most)
        here = from_inputs(link, recorded, parting.stretch.branch) or parting.stretch
        several = (here,) if link.scheme.warm_up else stretches(off, recorded)
        quiet = quiet_of(link, self.subject, self.more)
        left: list[Span] | None = None
        for stretch in several:
            stage = RatesStage(link, stretch, recorded, errors, self.budget.look, quiet)
            if stage.in_steps and not link.scheme.warm_up:
                return None
            try:
                stage.read(self.recording, self.tolerance)
            except SpentError:
                return Whole("undecided", None, memory.ran_out())
            except TooManyWaysError:
                return Whole("undecided", None, "the model may run in too many ways")
            left = stage.spans() if left is None else in_both(left, stage.spans())
            if not left:
                verdict, why = refuted(stage)
                return Whole(verdict, None, why)
        found = stage.least() if link.scheme.warm_up else least_of(left or ())
        at_it = disturbed(link, asked.kind, found.error)
        again = self._again(asked, at_it, lead=found.lead)
        if again.parting is not None and again.parting.stretch.branch != here.branch:
            return Whole("undecided", None, "what one receiver tells another contradicts")
        if again.undecided:
            return Whole("undecided", None, again.undecided)
        if again.parting is not None:
            raise DisagreementError(
                f"{asked.kind} of {found.error} does not give the recording when it is followed: "
                "this is a bug in fewwire, please report it with the link file and the recording"
            )
        return Whole("explains", whole(found.error), least_words(found))

    def _more_and_more(
        self,
        asked: Within,
        held: Held,
        parting: Parting | None,
        rates: tuple[Fraction, Fraction] | None,
        sign: int,
    ) -> Whole:
        above: Ticks = 0
        beyond: list[Ticks] = []
        for _ in range(MOST_TURNS):
            found = explain(self.link, asked, held, self.budget, rates, sign=sign, above=above)
            if found.verdict != "explains" or found.amount is None or found.link is None:
                if found.verdict == "none" and beyond:
                    why = f"amounts just below {beyond[-1]} were not tried, all others refuted"
                    return Whole("undecided", None, why)
                return Whole("none" if found.verdict == "none" else "undecided", None, found.why)
            if not found.least:
                beyond.append(found.amount)
            if self.budget.spent(0):
                return Whole("undecided", None, memory.ran_out())
            held = self._again(asked, found.link)
            if held.undecided:
                return Whole("undecided", None, held.undecided)
            if held.parting is None:
                return Whole("explains", found.amount)
            above = whole(abs(Fraction(found.amount)))
        return Whole("undecided", None, f"it parts again after {MOST_TURNS} amounts")

    def _notes(self, held: Held) -> tuple[str, ...]:
        signals = signals_of(self.subject.link)
        notes = []
        recorded = self.recording.signals
        missing = tuple(name for name in signals.inputs if name not in recorded)
        inputs = any(stretch.begin == 0 for stretch in held.compared)
        if missing and inputs:
            notes.append(f"not recorded, taken for never moved: {names_text(missing)}")
        outs = tuple(name for group in signals.outs for name in group)
        lost = tuple(name for name in outs if name not in recorded)
        if len(lost) == len(outs):
            notes.append("no output was recorded, so none was compared")
        elif lost:
            notes.append(f"not recorded, not compared: {names_text(lost)}")
        return tuple(notes)


_Said = TypeVar("_Said", Explained, Whole)


def _open(said: _Said, besides: str) -> _Said:
    """What is said of a disturbance where the file allows something ``besides``."""
    if said.verdict == "none":
        why = f"by itself none does; together with {besides}, which the file allows, none was tried"
        return replace(said, verdict="undecided", why=why)
    if said.verdict == "explains":
        less = f"less, together with {besides}, which the file allows, was not tried"
        return replace(said, why=f"{said.why}; {less}" if said.why else less)
    return said
