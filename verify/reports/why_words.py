"""What led to a failure, in words: from ``questions/why``, cause before effect."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from verify.engines.trace import Press
from verify.parts.link import Link
from verify.questions.causes import Edge, InMode, Reading
from verify.questions.why import Brought, Kept, State, Why
from verify.reports.names import count_of_ticks, end_name, line_signals, listed, quoted

# Of a long list only the last few are told; the picture and the list of presses have them all.
MOST_TOLD = 3


def rule_name(name: str) -> str:
    """A rule of a machine; those without a name in a link file are called by their number."""
    return f"'{name}'" if name.startswith("rule ") else f"rule '{name}'"


class Teller:
    """Names the presses of a run: with their tick when they are first spoken of.

    ``travel``: ticks that the line takes to the receiver of ``branch``.
    """

    def __init__(self, link: Link, branch: int, travel: int) -> None:
        self.link, self.branch, self.travel = link, branch, travel
        self.told: list[Press] = []

    # -- names ----------------------------------------------------------------

    def press(self, press: Press) -> str:
        """``the press of 'c' at tick 15``, later on ``that of 'c'``."""
        name, new = quoted(self.link, press.input), press not in self.told
        if new:
            self.told.append(press)
        alone = len([p for p in self.told if p.input == press.input]) == 1
        when = "" if alone and not new else f" at tick {press.tick}"
        return f"the {self.word} of {name}{when}"

    @property
    def word(self) -> str:
        """What is done to an input."""
        return "press" if self.link.kind == "press" else "move"

    @property
    def words(self) -> str:
        """The same of several."""
        return "presses" if self.link.kind == "press" else "moves"

    def presses(self, presses: Sequence[Press]) -> str:
        """Several, of many the last."""
        shown = presses[-MOST_TOLD:]
        ticks = sorted({p.tick for p in shown})
        names = list(dict.fromkeys(quoted(self.link, p.input) for p in shown))
        new = not set(shown) & set(self.told)
        alike = len(names) == 1 or (new and len(ticks) == 1)
        if len(shown) > 1 and len(presses) <= MOST_TOLD and alike:
            self.told += [p for p in shown if p not in self.told]
            at = f"tick{'s' * (len(ticks) > 1)} {listed([*map(str, ticks)])}"
            return f"the {self.words} of {listed(names)} at {at}"
        told = [self.press(p) for p in shown]
        more = f"{len(presses)} of them, last " if len(presses) > MOST_TOLD else ""
        return more + listed(told)

    def line(self, line: int, *, far: bool = True) -> str:
        """An end of a line."""
        near, seen = line_signals(self.link, line, self.branch)
        return end_name(near, seen if far and self.travel else near)

    # -- causes ---------------------------------------------------------------

    def cause(self, why: Why) -> str:
        """What went wrong first; empty if nothing is known."""
        if why.reading is not None:
            return self._reading(why)
        if why.kept is not None:
            return self._kept(why.kept, why.press)
        return "" if why.brought is None else self._brought(why.brought, why.press)

    def edge(self, edge: Edge) -> str:
        """``the press of 'c' at tick 15 raised the line``, or with the tick of the edge."""
        line, does = self.line(edge.line), "rose" if edge.up else "fell"
        at_once = [p for p in edge.presses if p.tick == edge.tick]
        if at_once and len(at_once) == len(edge.presses) and edge.up:
            return f"{self.presses(edge.presses)} raised {line}"
        whose = f" for {self.presses(edge.presses)}" if edge.presses else ""
        return f"{line} {does} at tick {edge.tick}{whose}"

    def mode(self, mode: InMode, now: int, acting: Iterable[Press]) -> str:
        """``still armed by the press of 'a' at tick 0, 12 ticks after it``."""
        if mode.since is None:
            return f"{mode.word} from power-up on"
        others = [p for p in mode.presses if p not in set(acting)]
        still = "still " if others or not mode.presses else ""
        by = f" by {self.presses(mode.presses)}" if mode.presses else ""
        apart = now - mode.since
        if not mode.presses:
            return f"{still}{mode.word} since tick {mode.since}"
        if all(p.tick == mode.since for p in mode.presses):
            return f"{still}{mode.word}{by}, {count_of_ticks(apart)} after it"
        return f"{still}{mode.word} since tick {mode.since}{by}, {count_of_ticks(apart)} earlier"

    def _reading(self, why: Why) -> str:
        r = why.reading
        assert r is not None
        mode = r.mode if r.mode is not None and not r.mode.at_rest else None
        told = self._set_off(r, mode) if r.edges else self._sampled(r, mode) + self._sent(why)
        if r.output is not None:
            told += f": {self._taken_for(r)}"
        elif why.restarted is not None:
            told += f", and the receiver's timer '{why.restarted}' started anew"
        elif r.unknown:
            told += ": read as no output that there is"
        elif not r.acted:
            told += f": the receiver's {rule_name(r.rule)} did not act"
        elif r.became is not None and (r.mode is None or r.became != r.mode.word):
            told += f": it became {r.became} ({rule_name(r.rule)})"
        else:
            told += f": the receiver's {rule_name(r.rule)} acted"
        if why.found is not None:
            told += f"; at tick {why.found_at} the receiver was {why.found.word}"
        return told

    def _sent(self, why: Why) -> str:
        """Where the transmitter was in its round when it sent what was taken."""
        if why.sender is None:
            return ""
        tick, places = why.sender
        return f", sent at tick {tick} in {listed([f'{n} {value}' for n, value in places])}"

    def _taken_for(self, r: Reading) -> str:
        assert r.output is not None
        name = quoted(self.link, self.link.outputs[r.output])
        return f"no longer read as {name}" if r.off else f"read as {name}"

    def _set_off(self, r: Reading, mode: InMode | None) -> str:
        """An edge set the receiver off."""
        told = listed([self.edge(edge) for edge in r.edges[:MOST_TOLD]])
        acting = [p for edge in r.edges for p in edge.presses]
        if mode is not None:
            return f"{told} while the receiver was {self.mode(mode, r.tick, acting)}"
        now = {(e.line, e.tick) for e in r.edges}
        high = [e for tick, e in r.high if tick == r.tick and (e.line, e.tick) not in now]
        if high:
            return f"{told} while {listed([self._was_high(e) for e in dict.fromkeys(high)])}"
        before = [e for e in r.earlier if e not in r.edges and e.up][-MOST_TOLD:]
        if before:
            apart = [count_of_ticks(r.tick - e.tick) for e in before]
            whose = [
                f"{n} after its rise for {self.presses(e.presses)}"
                for n, e in zip(apart, before, strict=True)
            ]
            return f"{told}, {listed(whose)}"
        if r.mode is not None:
            return f"{told} while the receiver was {r.mode.word}"
        return told

    def _was_high(self, edge: Edge) -> str:
        return f"{self.line(edge.line)} was high for {self.presses(edge.presses)}"

    def _sampled(self, r: Reading, mode: InMode | None) -> str:
        """The receiver acted when a timer of its own ran out."""
        state = f", {self._under_way(mode)}," if mode is not None else ""
        where = "".join(f" ({name} {value})" for name, value in r.numbers)
        # Without a mode, what it saw before is not remembered.
        taken = [(tick, e) for tick, e in r.high if mode is not None or tick == r.tick]
        if not taken:
            at = "whenever it looked" if mode is not None else f"at tick {r.tick}"
            return f"the receiver{state} found {self.line(0)} low {at}{where}"
        by_edge: dict[tuple[int, tuple[Press, ...]], list[int]] = {}
        for tick, edge in taken:
            by_edge.setdefault((edge.line, edge.presses), []).append(tick)
        levels, before = [], -1
        for (line, presses), ticks in by_edge.items():
            at = f"at tick{'s' * (len(set(ticks)) > 1)} {listed([*map(str, dict.fromkeys(ticks))])}"
            whose = f" for {self.presses(presses)}" if presses else ""
            name = "" if line == before else f"{self.line(line)} high "
            levels.append(f"{name}{at}{where}{whose}")
            before = line
        return f"the receiver{state} found {listed(levels)}"

    def _under_way(self, mode: InMode) -> str:
        """``reading for the press of 'c' at tick 0``."""
        if mode.since is None:
            return f"{mode.word} from power-up on"
        whose = f" for {self.presses(mode.presses)}" if mode.presses else ""
        if mode.presses and all(p.tick == mode.since for p in mode.presses):
            return f"{mode.word}{whose}"
        return f"{mode.word} since tick {mode.since}{whose}"

    # -- what did not get there -----------------------------------------------

    def _kept(self, kept: Kept, press: Press | None) -> str:
        rule = (
            f"the transmitter's {rule_name(kept.instead)} acted in place of '{kept.wanted}'"
            if kept.instead is not None
            else f"the transmitter's {rule_name(kept.wanted)} did not act"
        )
        mine = None if press is None else self.press(press)
        whose = "" if mine is None else f" for {mine}"
        if kept.done is not None:
            return (
                f"the transmitter did at tick {kept.done}{whose} what it does "
                f"at tick {kept.tick} when nothing is off"
            )
        if kept.edge is not None:
            line, up = kept.edge
            name = self.line(line, far=False)
            if kept.high is not None and kept.high.tick < kept.tick:
                others = [p for p in kept.high.presses if p != press]
                before = f" for {self.presses(others)}" if others else ""
                since = f"had been high since tick {kept.high.tick}{before}"
                return f"{name} {since} and could not rise at tick {kept.tick}{whose}: {rule}"
            what = "rise" if up else "fall"
            state = "" if kept.state is None else f", with {self._state(kept.state)}"
            return f"{name} did not {what} at tick {kept.tick}{whose}{state}: {rule}"
        found = [] if kept.state is None else [self._state(kept.state)]
        if kept.mode is not None and not kept.mode.at_rest:
            found = [f"it {self.mode(kept.mode, kept.tick, ())}"]
        if mine is not None and press is not None and press.tick == kept.tick and found:
            rule = rule.removeprefix("the transmitter's ")
            return f"{mine} found the transmitter with {found[0]}: its {rule}"
        state = f" with {found[0]}" if found else ""
        return f"at tick {kept.tick}{whose} {rule}{state}"

    def _state(self, state: State) -> str:
        whose = f" for {self.presses(state.presses)}" if state.presses else ""
        if state.timer:
            since = f", started at tick {state.since}{whose}" if state.since is not None else ""
            left = f"{count_of_ticks(state.value)} left" if state.value else "none left"
            return f"its timer '{state.name}'{since}, at {left}"
        since = f" since tick {state.since}{whose}" if state.since is not None else ""
        return f"'{state.name}' at {state.value}{since}"

    def _brought(self, brought: Brought, press: Press | None) -> str:
        whose = "" if press is None else f" for {self.press(press)}"
        what = f"the {'rise' if brought.up else 'fall'} due at tick {brought.tick}{whose}"
        name = self.line(brought.line, far=False)
        if brought.came is None:
            return f"{name} did not bring {what}"
        late = count_of_ticks(brought.came - brought.tick)
        return f"{name} brought {what} only at tick {brought.came}, {late} late"


__all__ = ["MOST_TOLD", "Teller", "rule_name"]
