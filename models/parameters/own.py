"""A scheme of one's own in a link file: tables [link], [transmitter] and [receiver]."""

from __future__ import annotations

import keyword
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, ClassVar

from pydantic import Field, PrivateAttr

from models.own import Builder, End, MachineText, Own, Remembered, RuleError, RuleText, known
from models.parameters.base import ENDS, Parameters, Setting
from verify import units
from verify.allowed_code import CodeError, OneFile, scheme_of
from verify.fields import UNKNOWN, Context, Finding, Key, Label, Table, check, did_you_mean
from verify.language.texts import Known, TextError, Value
from verify.language.written import RESERVED
from verify.parts.monitor import Queue
from verify.parts.scheme import Scheme

MOST_LINES = 1000
MOST_MEMORY = 10_000
MOST_MODES = 1000

_NUMBER = "a whole number, a quoted duration, or an expression in quotes"
_COUNT = "a whole number, or an expression in quotes"
_RANGE = f"[least, most], or a table with range, start, count; each {_NUMBER}"
_NAME = "a name of letters, digits and _, not taken yet, and not one of the language"


class OwnParameters(Parameters):
    """Table ``[link]`` of a scheme of one's own; what the machines are is elsewhere."""

    takes: ClassVar[tuple[str, ...]] = ("press", "level")
    timed: ClassVar[bool] = True

    lines: Any = Field(1, description=f"a whole number, 1 to {MOST_LINES}, or an expression")
    tables: dict[str, Any] = Field({}, description="a table of names and what they stand for")
    queue: dict[str, Any] | None = Field(
        None, description='a table like { sends = "a table of times", places = 1 }'
    )
    python: Label | None = Field(None, description="the path of a Python file")

    _made: Scheme | None = PrivateAttr(None)

    def build(self, inputs: int, setting: Setting) -> Scheme:
        """As read by ``complete``."""
        nothing = MachineText((), ())
        return self._made or Own(inputs, 1, (), nothing, nothing)

    def complete(
        self, document: Mapping[str, object], context: Context, folder: Path | OneFile | None
    ) -> list[Finding]:
        """Read what the two ends are from their own tables. Returns what is wrong.

        ``folder``: where paths in the file begin; or the one other file that is looked at; None:
        none is.
        """
        if context.inputs is None or context.tick is None:
            return []
        reading = _Reading(self, document, context)
        try:
            if self.python is None:
                self._made = reading.scheme()
            elif isinstance(folder, Path):
                self._made = reading.code(folder / self.python)
            elif folder is not None and folder.named == self.python:
                self._made = reading.code(folder.path, folder.sha256, folder.source)
            else:
                allowed = (
                    "no key: what the machines are has to stand in the text of the link file"
                    if folder is None
                    else repr(folder.named)
                )
                raise _refuse(("link", "python"), "a file of Python code", allowed)
        except _WrongError as wrong:
            return [wrong.finding]
        return []


class EndTable(Table):
    """Table ``[transmitter]`` or ``[receiver]``."""

    modes: dict[str, Any] = Field({}, description="a table of names, each with a list of modes")
    flags: dict[str, Any] = Field({}, description="a table of names, each true or false")
    numbers: dict[str, Any] = Field({}, description=f"a table of names, each {_RANGE}")
    timers: dict[str, Any] = Field({}, description="a table of names, each with its longest time")
    banks: dict[str, Any] = Field({}, description="a table of names, each with a table of fields")
    signals: list[Any] = Field([], description="a list of names")
    wires: list[Any] = Field([], description="a list of names of flags and numbers")
    let: dict[str, Any] = Field({}, description="a table of names, each with an expression")
    possible: str | None = Field(None, description="an expression in quotes")
    rules: list[Any] = Field(description="a list of rules, each after its own [[END.rules]]")


class RuleTable(Table):
    """A rule."""

    name: Label | None = Field(None, description="a string")
    every: dict[str, Any] | None = Field(
        None, description='a table of one name, like { i = "inputs" }'
    )
    each: str | None = Field(None, description='"press", "release", "BANK" or "BANK.ends"')
    when: str | None = Field(None, description="an expression in quotes")
    otherwise: bool = Field(False, description="true or false")
    do: list[Any] = Field(description="a list of actions in quotes, and of rules")


class _WrongError(Exception):
    def __init__(self, finding: Finding) -> None:
        super().__init__(finding)
        self.finding = finding


def _refuse(key: Key, found: str, allowed: str) -> _WrongError:
    return _WrongError(Finding(key, allowed, found))


class _Reading:
    """One pass over the tables of one scheme; stops at the first thing that is wrong."""

    def __init__(
        self, link: OwnParameters, document: Mapping[str, object], context: Context
    ) -> None:
        self.link, self.document, self.context = link, document, context
        self.inputs = context.inputs or 0
        self.known = Known({"inputs": self.inputs}, context.tick)
        self.lines = 1
        self.tables: list[tuple[str, Value]] = []

    # -- what is known --------------------------------------------------------

    def _all_tables(self) -> None:
        self.lines = self._count(self.link.lines, ("link", "lines"), 1, MOST_LINES)
        self.known = known((), self.inputs, self.lines, self.context.tick)
        for name, value in self.link.tables.items():
            key: Key = ("link", "tables", name)
            self._named(name, key, self.known.names)
            read = self._value(value, key)
            self.tables.append((name, read))
            self.known = self.known.with_names({name: read})

    def _named(self, name: str, key: Key, taken: Mapping[str, object]) -> None:
        proper = name.isascii() and name.isidentifier() and not keyword.iskeyword(name)
        if not proper or name in RESERVED or name in taken:
            raise _WrongError(Finding(key, _NAME, f'the name "{name}"'))

    def _value(self, value: object, key: Key) -> Value:
        if isinstance(value, list):
            return tuple(self._value(entry, (*key, k)) for k, entry in enumerate(value))
        if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**60:
            return value
        if isinstance(value, str):
            return self._worked_out(value, key)
        raise _WrongError(Finding(key, f"{_NUMBER}, or a list of these"))

    def _worked_out(self, text: str, key: Key) -> Value:
        if not units.is_duration(text):
            return self._text(lambda: self.known.value(text), key)
        try:
            return units.to_ticks(text, self.context.tick) or 0
        except units.TimeError as error:
            raise _WrongError(Finding(key, error.allowed)) from None

    def _text(self, read: Callable[[], Value], key: Key) -> Value:
        try:
            return read()
        except TextError as error:
            raise _WrongError(_finding(key, error)) from None

    def _whole(
        self,
        value: object,
        key: Key,
        least: int,
        most: int = units.MOST_TICKS,
        what: str = _NUMBER,
    ) -> int:
        read = self._value(value, key)
        if not isinstance(read, int) or not least <= read <= most:
            worth = f", which is {read}" if isinstance(value, str) and isinstance(read, int) else ""
            found = f'"{value}"{worth}' if isinstance(value, str) else None
            raise _WrongError(Finding(key, f"{what}, {least} to {most}", found))
        return read

    def _count(self, value: object, key: Key, least: int, most: int) -> int:
        """How many there are of something, which no duration says."""
        if isinstance(value, str) and units.is_duration(value):
            raise _refuse(key, f'"{value}", a time', f"{_COUNT}, {least} to {most}")
        return self._whole(value, key, least, most, _COUNT)

    def _queue(self) -> Queue | None:
        if self.link.queue is None:
            return None
        key: Key = ("link", "queue")
        if set(self.link.queue) != {"sends", "places"}:
            raise _WrongError(Finding(key, '{ sends = "a table of times", places = 1 }'))
        sends = self._value(self.link.queue["sends"], (*key, "sends"))
        times = () if isinstance(sends, int) else tuple(t for t in sends if isinstance(t, int))
        if len(times) != self.inputs or min(times) < 1:
            allowed = f"{self.inputs} times, one per input, each at least 1"
            raise _refuse((*key, "sends"), f"{len(times)} times", allowed)
        return Queue(times, self._count(self.link.queue["places"], (*key, "places"), 0, 64))

    # -- the whole ------------------------------------------------------------

    def code(self, path: Path, sha256: str | None = None, source: bytes | None = None) -> Scheme:
        """What a Python file makes, if its SHA-256 is this (None: any). ``source``: its bytes, if
        they were read before."""
        for end in ENDS:
            if end in self.document:
                raise _WrongError(Finding((end,), "no table: link.python says what it is"))
        self._all_tables()
        key: Key = ("link", "python")
        try:
            made = scheme_of(path, self.inputs, dict(self.tables), sha256, source)
        except CodeError as error:
            raise _refuse(key, error.found, error.allowed) from None
        if made.inputs != self.inputs:
            found = f"a scheme for {made.inputs} inputs"
            raise _refuse(key, found, f"{self.inputs}, as [inputs] says")
        return made

    def scheme(self) -> Own:
        """Both ends, put together and tried."""
        self._all_tables()
        queue = self._queue()
        sender, taker = (self._end(end) for end in ENDS)
        tables = tuple(self.tables)
        made = Own(self.inputs, self.lines, tables, sender, taker, self.context.tick, queue)
        try:
            for end in ENDS:
                Builder(made, end).machine()
        except RuleError as wrong:
            raise _WrongError(_finding(wrong.key, wrong.error)) from None
        return made

    # -- an end ---------------------------------------------------------------

    def _end(self, end: End) -> MachineText:
        key: Key = (end,)
        if end not in self.document:
            raise _WrongError(
                Finding(key, f"a table [{end}]: scheme is own", "nothing", missing=True)
            )
        table = self._checked(EndTable, self.document[end], key)
        memory = self._memory(table, key)
        names = {r.name for r in memory}
        lets: list[tuple[str, str]] = []
        for name, text in table.let.items():
            self._named(name, (*key, "let", name), {**self.known.names, **dict.fromkeys(names)})
            if not isinstance(text, str):
                raise _WrongError(Finding((*key, "let", name), "an expression in quotes"))
            names.add(name)
            lets.append((name, text))
        rules = self._rules(table.rules, (*key, "rules"), {*names, *self.known.names}, 0)
        if table.possible is not None and not isinstance(table.possible, str):
            raise _WrongError(Finding((*key, "possible"), "an expression in quotes"))
        return MachineText(memory, rules, tuple(lets), table.possible)

    def _checked(self, kind: type[Any], value: object, key: Key) -> Any:
        table, findings = check(kind, value, key, self.context)
        for finding in findings:
            if finding.found == UNKNOWN:
                *_, name = finding.key
                fields = list(kind.model_fields)
                allowed = ", ".join(fields) + did_you_mean(name, fields)
                raise _refuse(finding.key, "a key that is not known", allowed)
            raise _WrongError(finding)
        return table

    def _memory(self, table: Any, key: Key) -> tuple[Remembered, ...]:
        made: list[Remembered] = []
        taken: dict[str, object] = dict(self.known.names)
        wires = set(table.wires) if all(isinstance(w, str) for w in table.wires) else set()
        readers: dict[str, Callable[[str, object, Key], Remembered]] = {
            "modes": self._mode,
            "flags": self._flag,
            "numbers": self._number,
            "timers": self._timer,
            "banks": self._bank,
        }
        for kind, read in readers.items():
            for name, value in getattr(table, kind).items():
                place = (*key, kind, name)
                self._named(name, place, taken)
                taken[name] = None
                one = read(name, value, place)
                wire = name in wires and one.kind in ("flag", "number")
                made.append(Remembered(**{**vars(one), "wire": wire}))
        for k, name in enumerate(table.signals):
            if not isinstance(name, str):
                raise _WrongError(Finding((*key, "signals", k), "a list of names"))
            self._named(name, (*key, "signals", k), taken)
            taken[name] = None
            made.append(Remembered(name, "signal"))
        held = sum(r.count or 1 for r in made)
        if held > MOST_MEMORY:
            raise _refuse(key, f"{held} pieces of memory", f"at most {MOST_MEMORY}")
        stray = [w for w in table.wires if w not in {r.name for r in made if r.wire}]
        if stray:
            raise _WrongError(Finding((*key, "wires"), "a list of names of flags and numbers"))
        return tuple(made)

    def _parts(
        self, value: object, key: Key, allowed: str, plain: str, fields: tuple[str, ...]
    ) -> dict[str, Any]:
        """A table, or a value that stands for its part ``plain``."""
        parts = value if isinstance(value, dict) else {plain: value}
        if not set(parts) <= {plain, *fields} or plain not in parts:
            raise _WrongError(Finding(key, allowed))
        return parts

    def _several(self, parts: Mapping[str, object], key: Key) -> int | None:
        if "count" not in parts:
            return None
        return self._count(parts["count"], (*key, "count"), 1, MOST_MEMORY)

    def _mode(self, name: str, value: object, key: Key) -> Remembered:
        labels = value if isinstance(value, list) else []
        proper = all(isinstance(m, str) and m.isascii() and m.isidentifier() for m in labels)
        if not 1 <= len(labels) <= MOST_MODES or not proper or len(set(labels)) < len(labels):
            raise _WrongError(
                Finding(key, "a list of different names, the first the mode at power-up")
            )
        return Remembered(name, "mode", most=len(labels) - 1, modes=tuple(labels))

    def _flag(self, name: str, value: object, key: Key) -> Remembered:
        allowed = "true or false at power-up, or { start = false, count = n }"
        parts = self._parts(value, key, allowed, "start", ("count",))
        if not isinstance(parts["start"], bool):
            raise _WrongError(Finding(key, allowed))
        return Remembered(name, "flag", start=int(parts["start"]), count=self._several(parts, key))

    def _number(self, name: str, value: object, key: Key) -> Remembered:
        parts = self._parts(value, key, _RANGE, "range", ("start", "count"))
        span = parts["range"]
        if not isinstance(span, list) or len(span) != 2:
            raise _WrongError(Finding(key, _RANGE))
        large = units.MOST_TICKS
        least, most = (self._whole(x, (*key, k), -large, large) for k, x in enumerate(span))
        if least > most:
            raise _WrongError(Finding(key, "[least, most] with least not above most"))
        start = parts.get("start", least)
        at = self._whole(start, (*key, "start"), least, most) if start is not least else least
        return Remembered(name, "number", least, most, at, self._several(parts, key))

    def _timer(self, name: str, value: object, key: Key) -> Remembered:
        allowed = f"the longest that it may run, {_NUMBER}; or {{ most = ..., count = n }}"
        parts = self._parts(value, key, allowed, "most", ("count",))
        most = self._whole(parts["most"], key, 1)
        return Remembered(name, "timer", most=most, count=self._several(parts, key))

    def _bank(self, name: str, value: object, key: Key) -> Remembered:
        if not isinstance(value, dict):
            allowed = "a table of fields, each [least, most]; {} for none"
            raise _WrongError(Finding(key, allowed))
        fields = []
        for field, span in value.items():
            self._named(field, (*key, field), {"left": None})
            if not isinstance(span, list) or len(span) != 2:
                raise _WrongError(Finding((*key, field), f"[least, most], each {_NUMBER}"))
            large = units.MOST_TICKS
            least, most = (self._whole(x, (*key, field), -large, large) for x in span)
            if least > most:
                raise _WrongError(Finding((*key, field), "[least, most] with least not above most"))
            fields.append((field, least, most))
        return Remembered(name, "bank", fields=tuple(fields))

    # -- rules ----------------------------------------------------------------

    def _rules(
        self, rules: list[Any], key: Key, taken: set[str], depth: int
    ) -> tuple[RuleText, ...]:
        if depth > 8:
            raise _refuse(key, "rules too deep within rules", "at most 8 within each other")
        return tuple(self._rule(r, (*key, k), taken, depth) for k, r in enumerate(rules))

    def _rule(self, value: object, key: Key, taken: set[str], depth: int) -> RuleText:
        rule = self._checked(RuleTable, value, key)
        before = self.known
        repeat = None
        if rule.every is not None:
            repeat = self._every(rule.every, (*key, "every"), taken)
            taken = {*taken, repeat[0]}
        if rule.otherwise and rule.each is not None:
            raise _WrongError(
                Finding((*key, "each"), "no key: the loop of the rule before goes on")
            )
        do: list[str | RuleText] = []
        for k, action in enumerate(rule.do):
            place = (*key, "do", k)
            if isinstance(action, dict):
                do.append(self._rule(action, place, taken, depth + 1))
                if depth >= 8:
                    raise _refuse(place, "rules too deep within rules", "at most 8 levels")
            elif isinstance(action, str):
                do.append(action)
            else:
                raise _WrongError(Finding(place, "an action in quotes, or a rule"))
        self.known = before
        name = rule.name or _called(rule, key)
        return RuleText(key, name, rule.each, repeat, rule.when, rule.otherwise, tuple(do))

    def _every(
        self, every: Mapping[str, object], key: Key, taken: set[str]
    ) -> tuple[str, tuple[Value, ...]]:
        if len(every) != 1:
            raise _WrongError(Finding(key, 'a table of one name, like { i = "inputs" }'))
        ((name, over),) = every.items()
        self._named(name, (*key, name), dict.fromkeys(taken))
        values = self._value(over, (*key, name))
        if isinstance(values, int):
            if not 0 <= values <= MOST_MEMORY:
                raise _refuse((*key, name), str(values), f"0 to {MOST_MEMORY}, or a list")
            values = tuple(range(values))
        if len(values) > MOST_MEMORY:
            raise _refuse((*key, name), f"{len(values)} entries", f"at most {MOST_MEMORY}")
        # Rules within may use the name in an 'every' of their own: any of its values will do
        # to read them here.
        if values:
            self.known = self.known.with_names({name: values[0]})
        return name, values


def _called(rule: Any, key: Key) -> str:
    """A rule without a name, for people: its place and its guard."""
    what = rule.when or rule.each or ("otherwise" if rule.otherwise else "always")
    number = key[-1] if isinstance(key[-1], int) else 0
    return f"rule {number + 1}: {what}"[:60]


def _finding(key: Key, error: TextError) -> Finding:
    where = f" at column {error.column}" if error.column else ""
    return Finding(key, error.allowed, f"{error.found}{where}")


__all__ = ["OwnParameters"]
