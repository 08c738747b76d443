"""Put a link before the engines, part by part, and show their answers on the whole link.

Whatever engine finds a failure, it is replayed by the simulator on the whole link, true
delays included, before anybody sees it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import partial, reduce
from math import ceil, lcm
from typing import TYPE_CHECKING, TypeAlias, TypeVar

from verify.engines import alarm, memory
from verify.engines.answer import Answer, Budget, Delivery, OutOfTimeError, Progress, Verdict
from verify.engines.checkpoint import DamagedError
from verify.engines.lone import Lone, factored_windows, lone_presses, true_windows
from verify.engines.shrink import Apart, Test, shrink, size
from verify.engines.simulator import NotAllowedError, replay
from verify.engines.trace import Chosen, Press, Script, Trace
from verify.errors import DisagreementError, ModelError
from verify.language.machine import System
from verify.parts.link import Link, Part, factored
from verify.parts.monitor import Windows
from verify.parts.pause import End, Pause, stops
from verify.questions import kept
from verify.questions.engine_choice import EngineName, ask, zones
from verify.questions.one_move import Held, by_one_move, distinct
from verify.questions.resting import by_rest
from verify.questions.symmetry import by_symmetry
from verify.questions.waiting import by_waiting
from verify.units import Ticks

if TYPE_CHECKING:
    from verify.engines.drift import Drifting

# As many are looked at where any failure will do, to find the part to begin with.
GLANCE = 1_000
# Longer failures, of sustained load, are made smaller only once one of them is to be shown.
LONG = 100
DEFAULT_SECONDS = 60.0
# A failure that was found when the time was nearly up is made smaller for so long, seconds.
LEAST_SHRINKING = 10.0
# Lone presses are remembered from question to question, of this many parts at most.
MOST_KNOWN = 4_096

T = TypeVar("T")
# Of a lone press: earliest, latest, settled.
Row: TypeAlias = tuple[Ticks | None, Ticks | None, int]

_KNOWN: dict[Link, Lone] = {}

# What the world picks at the receiver's end.
_RECEIVING = ("receiver0", stops(End.RECEIVER).name)

# The beginning of a name that belongs to a line, and perhaps to one of its branches.
_PLACE = re.compile(r"line(\d+)(\.branch0)?(?=\.)")


@dataclass(frozen=True)
class Judgement:
    """The verdict on a whole link, with the failing trace, or the latency extremes.

    ``complete``: the search left nothing out. ``best``/``worst``: input number -> ticks with
    the line delay, and the script that shows it.
    """

    verdict: Verdict
    engine: str
    covered: str
    trace: Trace | None = None
    complete: bool = False
    best: dict[int, Delivery] = field(default_factory=dict)
    worst: dict[int, Delivery] = field(default_factory=dict)


class Subject:
    """A link prepared for questions: its parts, and what lone presses of it do.

    Lone presses do not depend on how close presses may come, so one subject serves all
    spacings of a link: see ``respaced``. ``held``: what is known of levers of which one move
    decides.
    """

    def __init__(
        self,
        link: Link,
        lones: dict[Link, Lone] | None = None,
        budget: Budget | None = None,
        held: Held | None = None,
    ) -> None:
        self.link, self.budget = link, budget
        self.held = held if held is not None else {}
        self.parts = link.parts(self._look)
        self.lones = lones if lones is not None else {}
        self.lone = self._whole_lone()
        self.windows = true_windows(link, self.lone)
        self._groups: list[list[int]] | None = None

    def _look(self) -> None:
        """At the clock. Raises OutOfTimeError."""
        if self.budget is not None and self.budget.spent(0):
            raise OutOfTimeError

    def respaced(self, **bounds: object) -> Subject:
        """The same link under other bounds on spacing or pairs."""
        if bounds.keys() != {"spacing"}:
            again = self.link.with_operator(**bounds)
            return Subject(again, self.lones, self.budget, self.held)
        # What parts there are, and what presses do alone, stays.
        other = copy(self)
        other.link = self.link.with_operator(**bounds)
        other.parts = tuple(
            replace(part, link=part.link.with_operator(**bounds)) for part in self.parts
        )
        return other

    def lone_of(self, part: Link) -> Lone:
        """What lone presses of a part do; worked out once for all parts alike."""
        operator = replace(part.operator, spacing=0, pairs=None)
        undisturbed = replace(part, pause=Pause(), any_start=False, spared=None)
        key = replace(undisturbed.anonymous, operator=operator)
        if key not in self.lones:
            if key not in _KNOWN:
                if self.budget is not None and self.budget.spent(0):
                    raise OutOfTimeError
                if len(_KNOWN) >= MOST_KNOWN:
                    _KNOWN.clear()
                # Quickly known, but for presses on clocks of unknown rate: those ask the solver.
                place = kept.key_of("lone", key) if key.clock.rated else None
                _KNOWN[key] = kept.known_lone(place) or lone_presses(key, self.budget)
                kept.note_lone(place, _KNOWN[key])
            self.lones[key] = _KNOWN[key]
        return self.lones[key]

    def lone_for(self, part: Part) -> Lone:
        """What lone presses of a part do, and of a lever watched what they do in the whole link:
        another part may decide when its output is due."""
        lone, k = self.lone_of(part.link), part.link.watched
        if k is None:
            return lone
        i = part.carried[k]

        def with_whole(own: tuple[T, ...], all_of_them: tuple[T, ...]) -> tuple[T, ...]:
            return (*own[:k], all_of_them[i], *own[k + 1 :])

        return Lone(
            with_whole(lone.earliest, self.lone.earliest),
            with_whole(lone.latest, self.lone.latest),
            with_whole(lone.settled, self.lone.settled),
            lone.rests,
            rough=lone.rough,
        )

    def _whole_lone(self) -> Lone:
        rows: dict[int, Row] = {}
        rests, rough = True, False
        for part in self.parts:
            self._look()
            lone = self.lone_of(part.link)
            rests, rough = rests and lone.rests, rough or lone.rough
            for k, i in enumerate(part.carried):
                if part.link.watched in (None, k):
                    row = lone.earliest[k], lone.latest[k], lone.settled[k]
                    rows[i] = _wider(rows[i], row) if i in rows else row
        ordered = [rows[i] for i in range(self.link.inputs)]
        return Lone(
            tuple(r[0] for r in ordered),
            tuple(r[1] for r in ordered),
            tuple(r[2] for r in ordered),
            rests,
            rough=rough,
        )

    def distinct_parts(self) -> list[list[Part]]:
        """Parts, those together that differ in names only and are due alike."""
        if self._groups is None:
            found: dict[tuple[Link, Lone], list[int]] = {}
            for k, part in enumerate(self.parts):
                self._look()
                key = part.link.anonymous, self.lone_for(part)
                found.setdefault(key, []).append(k)
            self._groups = list(found.values())
        return [[self.parts[k] for k in alike] for alike in self._groups]

    def replay(self, script: Script) -> Trace:
        """Run a script on the whole link. Raises NotAllowedError if its operator may not do it."""
        return replay(self.link, self.windows, script)

    def fails(self, script: Script) -> bool:
        """The script is legal and something comes out wrong."""
        try:
            return self.replay(script).failure is not None
        except NotAllowedError:
            return False


def _wider(a: Row, b: Row) -> Row:
    """Two parts decide about one output: the earliest and latest of both."""
    earliest = [t for t in (a[0], b[0]) if t is not None]
    latest = None if a[1] is None or b[1] is None else max(a[1], b[1])
    return min(earliest, default=None), latest, max(a[2], b[2])


def judge(
    subject: Subject,
    engine: EngineName,
    progress: Progress,
    *,
    budget: Budget | None = None,
    latencies: bool = False,
    brief: bool = False,
) -> Judgement:
    """The verdict on every sequence that the operator of the link allows.

    ``latencies``: also the extremes over all sequences that come out right. ``brief``: the
    first failure found is enough, though other parts may fail sooner, and need not be ``shrunk``.
    Raises DisagreementError if a failure does not replay.
    """
    budget = budget if budget is not None else Budget(DEFAULT_SECONDS)
    if latencies and subject.lone.rough:
        # Of such windows no run that keeps them may be said to come out right.
        lossy = judge(subject, engine, progress, budget=budget, brief=brief)
        return replace(lossy, complete=False)
    answers: list[Answer] = []
    failures: list[tuple[Trace, Answer]] = []
    best: dict[int, Delivery] = {}
    worst: dict[int, Delivery] = {}
    drifting = _drifting(subject.link, engine, budget, progress)
    if engine == "auto" and not latencies:
        moved = (
            _by_one_move(subject, budget, progress, brief)
            if drifting is None
            else _soonest_of_one_move(subject, budget, progress)
        )
        if moved is not None:
            return moved
    parts = subject.distinct_parts()
    glances: _Glances = {}
    failing = None
    if brief and engine == "auto" and drifting is None:
        first = (
            k
            for k, alike in enumerate(parts)
            if _fails_at_once(subject, alike[0], budget, progress, glances)
        )
        failing = next(first, None)
        parts.insert(0, parts.pop(failing or 0))
    for alike in parts:
        link = alike[0].link
        for windows, branches in factored_windows(link, subject.lone_for(alike[0])).items():
            # Of ends that drift apart a part is searched no further than the failure before it.
            asked = link.anonymous, windows, engine, "latencies" if latencies else brief
            key = None if drifting is not None else kept.key_of(*asked)
            seen_before = None
            if not latencies and (link, windows) in glances:
                answer = glances[link, windows]
            elif (seen_before := kept.known(key, link.inputs)) is not None:
                answer = seen_before
            elif answers and budget.spent(0):
                covered = f"nothing of some parts: {memory.ran_out()}"
                answer = Answer(Verdict.UNDECIDED, answers[-1].engine, covered=covered)
            elif drifting is not None:
                answer = drifting.judge(link, windows)
            elif link.clock.rated and not subject.lone_of(link).rests:
                answer = _ask_unrested(link, windows, engine, budget, progress, latencies)
            else:
                system, rests = _system(link, windows), subject.lone_of(link).rests
                queued = windows.queue is not None
                seen = None
                if engine == "auto" and not latencies:
                    seen = by_symmetry(link, windows, subject.lone_of, budget, progress, brief)
                    seen = seen or by_rest(link, windows, subject.lone_of(link))
                    if queued and seen is None:
                        by_turns = partial(
                            ask, rests=rests, engine=engine, budget=budget, progress=progress
                        )
                        seen = by_waiting(link, windows, by_turns)
                place = kept.key_of("search", link.anonymous, windows, engine, latencies)
                latest = subject.lone_of(link).latest
                lost = tuple(i for i, ticks in enumerate(latest) if ticks is None)
                answer = seen or ask(
                    system, rests, engine, budget, progress, latencies, windows, place, lost
                )
            answers.append(answer)
            if answer.complete or not latencies:
                kept.note(key, answer)
            if answer.script is not None:
                try:
                    shown = _show(subject, answer, alike[0], branches[0], budget)
                except (DisagreementError, NotAllowedError, ModelError):
                    if seen_before is None:
                        raise
                    raise DamagedError from None
                failures.append((shown, answer))
            for part in alike:
                _gather(subject, branches, part, answer.best, best, min)
                _gather(subject, branches, part, answer.worst, worst, max)
        if brief and failures:
            break
    # Parts and branches were searched one by one; the shortest failure of all is shown, and of
    # ends that drift apart the soonest.
    failed = min(failures, key=lambda pair: size(pair[0].script), default=None)
    if drifting is not None and failures:
        failed = failures[-1]
    if failed is not None and not brief and (_fewest(failed[1]) or _is_long(failed[0])):
        failed = shrunk(subject, failed[0], budget), failed[1]
    told = answers if failed is None else [failed[1]]
    return Judgement(
        reduce(_worse, (answer.verdict for answer in answers)),
        _together([answer.engine for answer in told]),
        _together([answer.covered for answer in told]),
        failed and failed[0],
        all(answer.complete for answer in answers),
        best,
        worst,
    )


def _drifting(
    link: Link, engine: EngineName, budget: Budget, progress: Progress
) -> Drifting | None:
    if not link.drifts_away or link.any_start or engine not in ("auto", "zones"):
        return None
    from verify.engines.drift import Drifting

    return Drifting(budget, progress)


def _ask_unrested(
    link: Link,
    windows: Windows,
    engine: EngineName,
    budget: Budget,
    progress: Progress,
    latencies: bool,
) -> Answer:
    from verify.engines.paces import at_any_rate

    def search(system: System) -> Answer:
        return ask(system, False, engine, budget, progress, latencies)

    if engine == "solver":
        return Answer(Verdict.UNDECIDED, engine, covered="nothing: the link never rests")
    if engine in ("explorer", "simulator"):
        # These pay for every part of a tick.
        proves = engine == "explorer"
        return at_any_rate(link, windows, search, finer=1, proves=proves)
    return at_any_rate(link, windows, search)


def _system(link: Link, windows: Windows) -> System:
    """A part as the engines get it, in the least parts of a tick that will do."""
    return factored(link, windows, lcm(link.clock.resolution, windows.resolution))


_Glances: TypeAlias = dict[tuple[Link, Windows], Answer]


def _fails_at_once(
    subject: Subject, part: Part, budget: Budget, progress: Progress, glances: _Glances
) -> bool:
    """A short look at a link that never rests, to begin where it fails. What it decides goes to
    ``glances``."""
    link = part.link
    if link.clock.rated or subject.lone_of(link).rests:
        return False
    for windows in factored_windows(link, subject.lone_for(part)):
        if budget.spent(0):
            return False
        answer = zones(_system(link, windows), budget, progress, False, GLANCE)
        if answer.verdict is not Verdict.UNDECIDED:
            glances[link, windows] = answer
        if answer.verdict is Verdict.FAILS:
            return True
    return False


def _by_one_move(
    subject: Subject, budget: Budget, progress: Progress, brief: bool
) -> Judgement | None:
    """Of links of levers of which one move decides; failures only where any will do."""
    from verify.engines.paces import at_any_rate

    if not subject.link.clock.rated and all(len(part.carried) == 1 for part in subject.parts):
        return None

    def search(system: System) -> Answer:
        return zones(system, budget, progress, False, None)

    def ask(link: Link, windows: Windows) -> Answer:
        place = kept.key_of("one move", link, windows)
        answer = kept.known(place, link.inputs)
        if answer is None:
            rated = link.clock.rated
            answer = at_any_rate(link, windows, search) if rated else search(_system(link, windows))
            kept.note(place, answer)
        return answer

    moved = by_one_move(subject.link, subject.lone, ask, subject.held)
    if moved is None:
        return None
    answer = moved.answer
    if moved.failed is None:
        return Judgement(Verdict.HOLDS, answer.engine, answer.covered, complete=True)
    if not brief:
        return None
    trace = _show(subject, answer, *moved.failed, budget)
    return Judgement(Verdict.FAILS, answer.engine, answer.covered, trace)


def _soonest_of_one_move(subject: Subject, budget: Budget, progress: Progress) -> Judgement | None:
    """Of ends that drift apart. What is wrong while a lever is down is wrong at that time while it
    is up, too, if it might have gone up early enough; None where something is wrong before."""
    from verify.engines.drift import Drifting

    link, whole, drifting = subject.link, subject.lone, Drifting(budget, progress)
    enough = ceil(link.cold + link.delay[1] + max(max(w.latest) for w in subject.windows))
    stay_down = distinct(link, whole, moves=0)
    if any(drifting.is_soon(part.link, w, enough + 2) for part, w, _ in stay_down):
        return None
    failed: tuple[Part, int, Answer] | None = None
    complete = True
    for part, windows, branch in distinct(link, whole, moves=1):
        answer = drifting.judge(part.link, windows)
        complete = complete and answer.complete
        if answer.script is not None:
            failed = part, branch, answer
    if failed is None or not complete:
        return None
    part, branch, answer = failed
    trace = _show(subject, answer, part, branch, budget)
    if trace.failure is None or trace.failure.tick <= enough * trace.script.resolution:
        return None
    return Judgement(Verdict.FAILS, answer.engine, answer.covered, trace, complete=True)


def _show(subject: Subject, answer: Answer, part: Part, branch: int, budget: Budget) -> Trace:
    if answer.script is None:
        raise AssertionError("nothing to show")
    script = on_whole(subject, answer.script, part, branch)
    trace = subject.replay(script)
    if trace.failure is None:
        raise DisagreementError(
            f"the {answer.engine} found a failure that the simulator does not see: {script}; "
            "this is a bug in fewwire, please report it with the link file"
        )
    # What the explorer finds has the fewest presses: it is shrunk only if it is shown.
    later = _fewest(answer) or _is_long(trace)
    return trace if later else shrunk(subject, trace, budget)


def _fewest(answer: Answer) -> bool:
    """No failure of its part has fewer presses."""
    return answer.engine == "explorer" and not answer.rough


def _is_long(trace: Trace) -> bool:
    return len(trace.script.presses) > LONG


def shrunk(
    subject: Subject,
    trace: Trace,
    budget: Budget,
    keeps: Callable[[Script], bool] = lambda script: True,
) -> Trace:
    """A failure of which nothing can be left out; of ends that drift apart it is as soon.

    ``keeps``: what a script must do besides failing. Goes on for as long as the search may, and
    LEAST_SHRINKING at least.
    """
    soonest = _end(trace) if subject.link.drifts_away else None

    def fails(script: Script) -> bool:
        try:
            found = subject.replay(script)
        except NotAllowedError:
            return False
        if found.failure is None or not keeps(script):
            return False
        return soonest is None or _end(found) <= soonest

    apart = apart_in(subject.link, trace.script)
    small = shrink(trace.script, within(fails, budget), apart)
    return replace(subject.replay(small.script), loose=not small.minimal)


def _end(trace: Trace) -> Fraction:
    """Ticks until it fails."""
    if trace.failure is None:
        raise AssertionError("a run that does not fail")
    return Fraction(trace.failure.tick, trace.script.resolution)


def within(fails: Test, budget: Budget) -> Test:
    """A test of scripts that ends the shrinking when the time is up."""
    seconds = max(budget.left() or 0.0, LEAST_SHRINKING)
    limit = Budget(None if budget.seconds is None else seconds, clock=budget.clock)
    alarm.later(seconds)

    def tested(script: Script) -> bool:
        limit.look()
        return fails(script)

    return tested


def apart_in(link: Link, script: Script) -> Apart:
    """What the operator leaves between two presses at least, in parts of a script's tick."""
    operator, kind, parts = link.operator, link.kind, script.resolution
    return lambda i, j: operator.apart(kind, i, j) * parts


def on_whole(subject: Subject, script: Script, part: Part, branch: int) -> Script:
    """A script for a part without delays, as one for the whole link.

    Inputs, lines and the branch get their numbers there; the shift of the windows is line delay.
    """
    carried = part.carried

    def renamed(name: str) -> str:
        if name.startswith("receiver0"):
            return name.replace("receiver0", f"receiver{branch}", 1)
        place = _PLACE.match(name)
        if place is None:
            return name
        line = int(place[1]) if part.all_lines else carried[int(place[1])]
        on_branch = f".branch{branch}" if place[2] else ""
        return f"line{line}{on_branch}{name[place.end() :]}"

    parts = script.resolution
    shift = dict(script.constants).get("monitor0.shift", 0)
    behind = subject.link.hidden_delay(branch) * parts + shift
    script = part.link.scheme.on_whole(script, behind, subject.link.cold)
    constants = dict(script.constants)
    constants.pop("monitor0.shift", None)

    def there(chosen: Chosen) -> Chosen:
        """What happens at the receiver's end, pauses too, is later by the delay left out."""
        late = behind if chosen.name.startswith(_RECEIVING) else 0
        return replace(chosen, tick=chosen.tick + late, name=renamed(chosen.name))

    return Script(
        tuple(Press(p.tick, carried[p.input]) for p in script.presses),
        subject.link.delay[0] * parts + shift,
        tuple(sorted((there(c) for c in script.picks), key=lambda c: c.tick)),
        tuple((renamed(name), value) for name, value in constants.items()),
        parts,
    )


def _gather(
    subject: Subject,
    branches: tuple[int, ...],
    part: Part,
    found: dict[int, Delivery],
    into: dict[int, Delivery],
    better: Callable[..., int],
) -> None:
    """Add the line delay of the branches that an answer is for, and keep what is better."""
    chosen = better(branches, key=subject.link.hidden_delay)
    hidden = subject.link.hidden_delay(chosen)
    for k, delivery in found.items():
        ticks = delivery.ticks + hidden
        i = part.carried[k]
        if i not in into or better(ticks, into[i].ticks) != into[i].ticks:
            into[i] = Delivery(ticks, on_whole(subject, delivery.script, part, chosen))


def _worse(a: Verdict, b: Verdict) -> Verdict:
    order = [Verdict.HOLDS, Verdict.UNDECIDED, Verdict.FAILS]
    return max(a, b, key=order.index)


def _together(words: list[str]) -> str:
    return " and ".join(dict.fromkeys(words))
