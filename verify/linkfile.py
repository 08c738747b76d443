"""Read a link file: TOML to ``Link``, or one clear ``LinkFileError``."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, Literal, cast

from pydantic import Field, PlainValidator, field_validator, model_validator

from models.parameters import KNOWN as SCHEMES
from models.parameters import Parameters
from models.parameters.base import ENDS, OWN, Setting
from verify import units
from verify.allowed_code import OneFile
from verify.errors import LinkFileError
from verify.fields import (
    UNKNOWN,
    Context,
    Finding,
    Key,
    Label,
    Pair,
    PositiveSpan,
    PositiveTime,
    Rate,
    Span,
    Table,
    Time,
    Written,
    check,
    did_you_mean,
    file_error,
    number_of_entries,
    one_of,
    printable,
    refusal,
)
from verify.parts.clock import Clock as TransmitterClock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause
from verify.stock import Stock

MOST_INPUTS = 100_000
MOST_BYTES = 4 << 20
# Of a dotted key; no key that means anything has more than four.
MOST_PARTS = 64
_PART = r"""[\w"'-]++[^\S\n]*+\.[^\S\n]*+"""
_DEEP = re.compile(rf"""(?<![\w"'-])(?:{_PART}){{{MOST_PARTS}}}[\w"'-]""")
MOST_PAUSE = 100_000

_OUTPUT = "the name of an output, or its number from 1"
_TICK = 'a quoted duration above 0, like "50 ms" (ns, us, ms, s, min)'


class Inputs(Table):
    """Table ``[inputs]``."""

    count: int | None = Field(
        None, ge=1, le=MOST_INPUTS, description=f"a whole number from 1 to {MOST_INPUTS}"
    )
    names: list[Label] | None = Field(
        None,
        min_length=1,
        max_length=MOST_INPUTS,
        description=f"a list of 1 to {MOST_INPUTS} names, each a string",
    )
    kind: str | None = Field(None, description='"press" or "level"')

    @field_validator("names")
    @classmethod
    def _distinct(cls, names: list[str] | None) -> list[str] | None:
        first: dict[str, int] = {}
        findings = [
            Finding((i,), f"a name of its own; names[{first[name]}] is the same")
            for i, name in enumerate(names or ())
            if first.setdefault(name, i) != i
        ]
        if findings:
            raise refusal(*findings)
        return names

    @model_validator(mode="after")
    def _one_of_two(self) -> Inputs:
        if self.count is not None and self.names is not None:
            raise refusal(Finding(("count",), "at most one of the two", "both count and names"))
        return self

    @property
    def number(self) -> int | None:
        """Of inputs; None if the file leaves it to the scheme."""
        return len(self.names) if self.names is not None else self.count


class Line(Table):
    """Table ``[line]``, in ticks."""

    delay: Span = (0, 0)
    branches: list[Time] = Field(
        [0],
        min_length=1,
        description=f"a list with the extra delay of one branch or more, each "
        f"{units.allowed_time()}",
    )
    jitter: Time = 0
    skew: Time = 0
    shortest: Time = 0

    @property
    def nearest(self) -> int:
        """The smallest delay that a branch may have."""
        return self.delay[0] + min(self.branches)

    @property
    def longest(self) -> int:
        """The largest delay that a branch may have."""
        return self.delay[1] + max(self.branches)


def _output(value: object) -> int | str:
    if isinstance(value, int | str) and not isinstance(value, bool):
        return value
    raise refusal(Finding((), _OUTPUT))


class Outputs(Table):
    """Table ``[outputs]``. ``order``: per input its output, by name, or by number from 1.

    ``may_miss``: an output that stays off is no failure.
    """

    order: (
        list[Annotated[int | str, PlainValidator(_output, json_schema_input_type=Any)]] | None
    ) = Field(None, description=f"a list that gives, for each input in turn, {_OUTPUT}")
    may_miss: bool = Field(False, strict=True, description="true or false")


class OperatorTable(Table):
    """Table ``[operator]``, in ticks."""

    spacing: Time = 0
    repeat: Time = 0
    hold: PositiveSpan = (1, 1)
    overlap: int | None = Field(
        None, ge=1, le=MOST_INPUTS, description=f"a whole number from 1 to {MOST_INPUTS}"
    )
    within: Pair | None = None
    together: bool = Field(False, strict=True, description="true or false")


class Clock(Table):
    """Table ``[clock]``. ``offset``: ticks that the receiver's clock starts away at most.

    ``rate``: least and most relative error of the transmitter's clock; ``wander``: ticks by
    which each of its periods may differ.
    """

    offset: Time = 0
    rate: Rate = (Fraction(0), Fraction(0))
    wander: Time = 0


class PauseTable(Table):
    """Table ``[pause]``: one end stops for up to ``most`` ticks, up to ``times`` times."""

    most: PositiveTime = Field(description=units.allowed_time(1))
    times: int = Field(1, ge=1, le=8, description="a whole number from 1 to 8")
    end: Literal["transmitter", "receiver", "either"] = "either"

    @field_validator("most")
    @classmethod
    def _not_too_long(cls, most: int) -> int:
        if most > MOST_PAUSE:
            allowed = f"at most {MOST_PAUSE} ticks: every length is tried; a coarser tick has fewer"
            raise refusal(Finding((), allowed))
        return most


class Top(Table):
    """The whole file. ``tick`` in seconds; the tables are read one by one."""

    name: Label | None = Field(None, description="a string")
    tick: Fraction = Field(description=_TICK)
    inputs: object = Field({})
    outputs: object = Field({})
    link: object = Field({})
    transmitter: object = Field({})
    receiver: object = Field({})
    line: object = Field({})
    clock: object = Field({})
    pause: object = Field({})
    start: Literal["any"] | None = None
    operator: object = Field({})
    parts: object = Field({})

    @field_validator("tick", mode="plain")
    @classmethod
    def _above_zero(cls, value: object) -> Fraction:
        try:
            tick = units.parse_duration(value) if isinstance(value, str) else Fraction(0)
        except units.TimeError:
            tick = Fraction(0)
        if tick <= 0:
            raise refusal(Finding((), _TICK))
        return tick


TABLES: dict[str, type[Table]] = {
    "inputs": Inputs,
    "outputs": Outputs,
    "line": Line,
    "clock": Clock,
    "pause": PauseTable,
    "operator": OperatorTable,
    "parts": Stock,
}


def load(path: str | os.PathLike[str]) -> Link:
    """The link that the file at ``path`` describes; it is named after the file by default.

    Raises LinkFileError, in one line, for a file that cannot be read or says something wrong.
    """
    return load_with_stock(path)[0]


def load_with_stock(path: str | os.PathLike[str]) -> tuple[Link, Stock]:
    """The same, and what the file says there is to build it with."""
    text, shown, name = read(path)
    return parse_with_stock(text, shown, name, folder=Path(path).parent)


def read(
    path: str | os.PathLike[str], wanted: str = "a link file", most: int = MOST_BYTES
) -> tuple[str, str, str]:
    """Text of a file, what stands for the file in messages, and a name for what it describes.

    ``wanted``: what should be there; ``most``: bytes. Raises LinkFileError.
    """
    shown = printable(os.fspath(path)) or '""'
    try:
        # Of a device there may be no end.
        with Path(path).open("rb") as stream:
            data = stream.read(most + 1)
    except FileNotFoundError:
        raise LinkFileError(shown, "", "no such file", wanted) from None
    except IsADirectoryError:
        raise LinkFileError(shown, "", "a directory", wanted) from None
    except PermissionError:
        raise LinkFileError(shown, "", "no permission to read it", "a readable file") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        found = f"that it cannot be read ({printable(reason)})"
        raise LinkFileError(shown, "", found, "a readable file") from None
    if len(data) > most:
        found = f"more than {most >> 20} megabytes"
        raise LinkFileError(shown, "", found, f"{wanted} of at most so much")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{data[error.start]:02x} at offset {error.start} (line {line})"
        raise LinkFileError(shown, "", found, "text in UTF-8") from None
    stem = printable(Path(path).stem).strip()
    return text, shown, stem or "link"


def parse(
    text: str,
    source: str,
    name: str = "link",
    schemes: Mapping[str, type[Parameters]] = SCHEMES,
) -> Link:
    """The link that ``text`` describes. ``source`` stands for the file in messages.

    ``name``: of the link, if the text gives none. ``schemes``: how tables [link] are read.
    Raises LinkFileError.
    """
    return parse_with_stock(text, source, name, schemes)[0]


def parse_with_stock(
    text: str,
    source: str,
    name: str = "link",
    schemes: Mapping[str, type[Parameters]] = SCHEMES,
    folder: Path | OneFile | None = Path(),
) -> tuple[Link, Stock]:
    """The same, and what the text says there is to build it with.

    ``folder``: where the paths in the text begin; or the one other file that is looked at; None:
    none is.
    """
    return parse_document(toml_of(text, source), source, name, schemes, folder)


def parse_document(
    document: dict[str, Any],
    source: str,
    name: str = "link",
    schemes: Mapping[str, type[Parameters]] = SCHEMES,
    folder: Path | OneFile | None = Path(),
) -> tuple[Link, Stock]:
    """The same of tables and keys that have been read already."""
    reading = _Reading(document, schemes, folder)
    link = reading.link(name)
    if link is None or reading.stock is None:
        raise reading.error(source)
    return link, reading.stock


def toml_of(text: str, source: str) -> dict[str, Any]:
    """The tables and keys of a file. Raises LinkFileError."""
    # Some editors begin a file with a byte order mark.
    text = text.removeprefix("\ufeff")
    # A key of many parts costs its square in time and memory.
    if (deep := _DEEP.search(text)) is not None:
        line = text.count("\n", 0, deep.start()) + 1
        found = f"a key of more than {MOST_PARTS} parts in line {line}"
        raise LinkFileError(source, "", found, "keys of few parts")
    try:
        return tomllib.loads(text, parse_float=Written)
    except tomllib.TOMLDecodeError as error:
        lines = text.replace("\r\n", "\n").split("\n")
        end = f"at the end, line {len(lines)}, column {len(lines[-1]) + 1}"
        what = printable(str(error)).replace("at end of document", end)
    except RecursionError:
        what = "brackets nested too deeply"
    except ValueError:
        what = "a number of too many digits"
    raise LinkFileError(source, "", f"text that is not TOML: {what}", "TOML")


def _place(number: int, names: tuple[str, ...]) -> int | None:
    return number - 1 if 1 <= number <= len(names) else None


class _Reading:
    """One pass over a document. Collects findings; tables that are wrong stay None."""

    def __init__(
        self,
        document: dict[str, Any],
        schemes: Mapping[str, type[Parameters]] = SCHEMES,
        folder: Path | OneFile | None = Path(),
    ) -> None:
        self.document = document
        self.schemes = schemes
        self.folder = folder
        self.findings: list[Finding] = []
        _, found = check(Top, document, (), Context())
        self._note([self._strayed(f) for f in found])
        top = self._alone("tick")
        self.tick = top.tick if top is not None else None
        top = self._alone("tick", "name")
        self.name = top.name if top is not None else None
        top = self._alone("tick", "start")
        self.any_start = top is not None and top.start == "any"
        self.inputs = cast(Inputs | None, self._table("inputs"))
        self.parameters = self._parameters()
        self.line = cast(Line | None, self._table("line"))
        self.outputs = cast(Outputs | None, self._table("outputs"))
        self.clock = cast(Clock | None, self._table("clock"))
        self.pause = self._pause()
        self.operator = cast(OperatorTable | None, self._table("operator"))
        self.stock = cast(Stock | None, self._table("parts"))

    def _alone(self, *keys: str) -> Top | None:
        """Some keys of the top, whatever else is wrong there."""
        some = {key: self.document[key] for key in keys if key in self.document}
        return cast(Top | None, check(Top, some, (), Context())[0])

    def _table(self, name: str) -> Table | None:
        known = Context(self.tick)
        table, found = check(TABLES[name], self.document.get(name, {}), (name,), known)
        self._note(found)
        return table

    def _pause(self) -> Pause:
        value = self.document.get("pause", {})
        if value == {}:
            return Pause()
        # A time alone is the longest pause, of either end, once.
        whole = value if isinstance(value, dict) else {"most": value}
        key = ("pause",) if isinstance(value, dict) else ()
        table, found = check(PauseTable, whole, key, Context(self.tick))
        if not isinstance(value, dict):
            found = [replace(f, key=("pause",)) for f in found]
        self._note(found)
        if not isinstance(table, PauseTable):
            return Pause()
        return Pause(table.most, table.times, End(table.end))

    def _parameters(self) -> Parameters | None:
        value = self.document.get("link", {})
        if not isinstance(value, dict):
            self._note([Finding(("link",), "a table [link]")])
            return None
        scheme = value.get("scheme")
        if not isinstance(scheme, str) or scheme not in SCHEMES:
            allowed = one_of(SCHEMES) + did_you_mean(scheme, SCHEMES)
            self._note([Finding(("link", "scheme"), allowed, missing="scheme" not in value)])
            return None
        number = self.inputs.number if self.inputs is not None else None
        known = Context(self.tick, number)
        parameters = self.schemes.get(scheme) or SCHEMES[scheme]
        table, found = check(parameters, value, ("link",), known)
        self._note(found)
        if scheme == OWN:
            from models.parameters.own import OwnParameters  # a large module, for few files

            if isinstance(table, OwnParameters):
                self._note(table.complete(self.document, known, self.folder))
        else:
            allowed = f'no table: scheme "{scheme}" is built in; only with scheme = "{OWN}"'
            self._note([Finding((end,), allowed) for end in ENDS if end in self.document])
        return cast(Parameters | None, table)

    def link(self, name: str) -> Link | None:
        """The link, if nothing is wrong."""
        inputs = self._number()
        names = self._names(inputs)
        self._kind()
        self._moved()
        self._clocks()
        self._in_time()
        self._skewed(inputs)
        self._swallowing()
        order = self._ordered(names)
        if (
            self.findings
            or inputs is None
            or names is None
            or self.tick is None
            or self.parameters is None
            or self.line is None
            or self.operator is None
        ):
            return None
        link = Link(
            name=self.name or name,
            tick=self.tick,
            names=names,
            scheme_name=self.parameters.scheme,
            scheme=self.parameters.build(inputs, self._setting()),
            operator=Operator(
                spacing=self.operator.spacing,
                repeat=self.operator.repeat,
                hold=self.operator.hold,
                overlap=self.operator.overlap,
                together=self.operator.together,
            ),
            delay=self.line.delay,
            branches=tuple(self.line.branches),
            within=self.operator.within,
            faults=Faults(self.line.jitter, self.line.skew, self.line.shortest),
            order=order,
            kind=self._kind_of_input(),
            clock=self._clock(),
            pause=self.pause,
            any_start=self.any_start,
            may_miss=self.outputs is not None and self.outputs.may_miss,
        )
        self._drifts(link)
        if self.pause.most and (allowed := link.unstoppable) is not None:
            self._note([Finding(("pause",), f"no key: {allowed}")])
        return None if self.findings else link

    # -- what spans tables ----------------------------------------------------

    def _number(self) -> int | None:
        if self.inputs is None:
            return None
        if self.inputs.number is not None or self.parameters is None:
            return self.inputs.number
        number = self.parameters.inputs
        if number is None:
            allowed = f"a whole number from 1 to {MOST_INPUTS}, or names instead"
            self._note([Finding(("inputs", "count"), allowed, missing=True)])
        elif number > MOST_INPUTS:
            found = f"parameters for {number} inputs"
            self._note([Finding(("link",), f"at most {MOST_INPUTS} inputs", found)])
        return number

    def _names(self, inputs: int | None) -> tuple[str, ...] | None:
        """Of the inputs; the outputs have the same."""
        if self.inputs is None or inputs is None:
            return None
        return tuple(self.inputs.names or (str(i + 1) for i in range(inputs)))

    def _kind(self) -> None:
        if self.inputs is None or self.parameters is None:
            return
        takes, kind = self.parameters.takes, self.inputs.kind
        if kind is not None and kind not in takes:
            allowed = one_of(takes) + did_you_mean(kind, takes)
            if kind == "level":
                allowed += (
                    f': scheme "{self.parameters.scheme}" takes presses, '
                    "not the positions of levers"
                )
            if kind == "press":
                allowed += (
                    f': scheme "{self.parameters.scheme}" takes the positions of levers; '
                    "it may miss a press"
                )
            self._note([Finding(("inputs", "kind"), allowed)])

    def _kind_of_input(self) -> str:
        named = self.inputs.kind if self.inputs is not None else None
        return named or (self.parameters.takes[0] if self.parameters is not None else "press")

    def _moved(self) -> None:
        """Levers are moved, not held."""
        if self.operator is None or self._kind_of_input() != "level":
            return
        for key in ("hold", "within"):
            if key in self.operator.model_fields_set:
                allowed = f"spacing, repeat and overlap: levers are moved, {key} is for presses"
                self._note([Finding(("operator", key), allowed)])

    def _setting(self) -> Setting:
        line, clock = self.line, self.clock
        return Setting(
            line.delay if line is not None else (0, 0),
            tuple(line.branches) if line is not None else (0,),
            clock.offset if clock is not None else 0,
        )

    def _clocks(self) -> None:
        if self.parameters is None:
            return
        given = self.clock is not None and "offset" in self.clock.model_fields_set
        if given and not self.parameters.clocked:
            allowed = "no key: " + (
                "a receiver that starts its clock at an edge of the line cannot start it apart"
                if self.parameters.timed
                else "there is no clock at the receiver that could start apart"
            )
            self._note([Finding(("clock", "offset"), allowed)])
            return
        self._note(self.parameters.misfits(self._setting()))

    def _clock(self) -> TransmitterClock:
        return (
            TransmitterClock(self.clock.rate, self.clock.wander)
            if self.clock is not None
            else TransmitterClock()
        )

    def _drifts(self, link: Link) -> None:
        """What can be said of the transmitter's clock only when the link is known."""
        keys = [k for k in ("rate", "wander") if self.clock and k in self.clock.model_fields_set]
        if not keys:
            return
        if (reason := link.clockless) is not None:
            self._note([Finding(("clock", key), f"no key: {reason}") for key in keys])
            return
        if "rate" in keys and (reason := link.unrated) is not None:
            self._note([Finding(("clock", "rate"), f"no key: {reason}")])
            return
        if (allowed := link.wanders_too_far) is not None:
            self._note([Finding(("clock", "wander"), allowed)])

    def _in_time(self) -> None:
        if self.line is None or self.operator is None or self.operator.within is None:
            return
        if self.tick is not None and self.operator.within[1] < self.line.longest:
            allowed = (
                f"[least, most] with most at least {units.ticks_text(self.line.longest, self.tick)}"
                ", the longest delay of the line: else no press could ever be in time"
            )
            self._note([Finding(("operator", "within"), allowed)])

    def _skewed(self, inputs: int | None) -> None:
        if self.line is None or self.line.skew == 0 or self.parameters is None or inputs is None:
            return
        if self.parameters.build(inputs, self._setting()).lines == 1:
            allowed = (
                f'0: this link of scheme "{self.parameters.scheme}" has one line, '
                "and skew is between lines"
            )
            self._note([Finding(("line", "skew"), allowed)])

    def _swallowing(self) -> None:
        if self.line is None or self.tick is None:
            return
        if 1 < self.line.shortest > self.line.nearest:
            nearest = units.ticks_text(self.line.nearest, self.tick)
            allowed = (
                f"at most {max(1, self.line.nearest)}, or a longer line: its least delay (delay, "
                f"branches) is {nearest}, and it takes shortest to tell a pulse from a shorter one"
            )
            self._note([Finding(("line", "shortest"), allowed)])

    def _ordered(self, names: tuple[str, ...] | None) -> tuple[int, ...] | None:
        """Per input its output; None if that is its own, or nothing can be said."""
        if names is None or self.outputs is None or self.outputs.order is None:
            return None
        order = self.outputs.order
        numbers = {name: i for i, name in enumerate(names)}
        found = [numbers.get(x) if isinstance(x, str) else _place(x, names) for x in order]
        first: dict[int, int] = {}
        for i, place in enumerate(found):
            if place is not None:
                first.setdefault(place, i)
        left = next((f'; "{n}" is left out' for i, n in enumerate(names) if i not in first), "")
        findings: list[Finding] = []
        for i, (entry, place) in enumerate(zip(order, found, strict=True)):
            if place is None:
                allowed = _OUTPUT + (f" to {len(names)}" if isinstance(entry, int) else "")
                # Only the first is shown, and looking for words alike takes long.
                hint = "" if findings else did_you_mean(entry, names)
                findings.append(Finding((i,), allowed + hint))
            elif first[place] != i:
                allowed = f"an output of its own; order[{first[place]}] is the same{left}"
                findings.append(Finding((i,), allowed))
        if not findings and len(order) != len(names):
            allowed = f"{len(names)}, one per input{left}"
            findings.append(Finding((), allowed, number_of_entries(order)))
        self._note([replace(f, key=("outputs", "order", *f.key)) for f in findings])
        identity = found == list(range(len(names)))
        return None if findings or identity else tuple(p for p in found if p is not None)

    # -- what is said ---------------------------------------------------------

    def _note(self, findings: list[Finding]) -> None:
        self.findings += [self._explained(f) if f.found == UNKNOWN else f for f in findings]

    def _explained(self, finding: Finding) -> Finding:
        *table, key = finding.key
        known = self._keys(table)
        return replace(finding, allowed=", ".join(known) + self._hint(str(key), table, known))

    def _strayed(self, finding: Finding) -> Finding:
        """A key of the top that is written below the header of a table belongs to the table."""
        key = finding.key[0]
        for name, table in self.document.items() if finding.missing else ():
            if isinstance(table, dict) and key in table:
                hint = f"; '{key}' stands in [{name}], but belongs before the first table"
                return replace(finding, allowed=finding.allowed + hint)
        return finding

    def _scheme_word(self) -> str:
        link = self.document.get("link")
        scheme = link.get("scheme") if isinstance(link, dict) else None
        return f'scheme "{scheme}"' if scheme in list(SCHEMES) else "this scheme"

    def _keys(self, table: list[str | int]) -> list[str]:
        if not table:
            return list(Top.model_fields)
        if table == ["link"]:
            own = SCHEMES[self.document["link"]["scheme"]]
            return list(own.model_fields)
        return list(TABLES[str(table[0])].model_fields)

    def _hint(self, key: str, table: list[str | int], known: list[str]) -> str:
        """Where a key that is right elsewhere belongs, or a known one that is spelt alike."""
        if not table and key == "code":
            return "; a file of code words is judged by `fewwire table`"
        if table and key in ("tick", "name"):
            return f"; '{key}' belongs at the top of the file, before the first table"
        for name, other in TABLES.items():
            if [name] != table and key in other.model_fields:
                return f"; '{key}' belongs in [{name}]"
        schemes = [s for s, p in SCHEMES.items() if key in p.model_fields]
        if schemes:
            where = f"to scheme {one_of(schemes)}" if table == ["link"] else "in [link]"
            return f"; '{key}' belongs {where}"
        return did_you_mean(key, known)

    def error(self, source: str) -> LinkFileError:
        """The first finding in the order of the file, and how many more there are."""
        ranks, ends = self._order()

        def rank(finding: Finding) -> tuple[int, int]:
            key = finding.key
            if finding.missing:
                return ends.get(key[:-1], len(ranks)), 1
            while key not in ranks:
                key = key[:-1]
            return ranks[key], 0

        first, *more = sorted(self.findings, key=rank)
        return file_error(source, self.document, first, len(more))

    def _order(self) -> tuple[dict[Key, int], dict[Key, int]]:
        """Of every place, its rank in the file; of every table, where its own keys end."""
        ranks: dict[Key, int] = {}
        ends: dict[Key, int] = {}

        def visit(key: Key, value: object, table: Key) -> None:
            ranks[key] = len(ranks)
            if isinstance(value, dict):
                ends[key] = ranks[key]
                # What is legal lies no deeper than the keys of a table.
                for name, entry in value.items() if len(key) < 2 else ():
                    visit((*key, name), entry, key)
                return
            ends[table] = ranks[key]
            for i in range(len(value)) if isinstance(value, list) else ():
                ranks[(*key, i)] = len(ranks)

        visit((), self.document, ())
        return ranks, ends
