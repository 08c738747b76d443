"""Recordings as VCD (value change dump, IEEE Std 1364-2005, clause 18), by pyvcd.

All signals are in one scope under the names that traces use. What is up and down at once is
of type ``event``, all else a wire of one bit. Names may have no white space in VCD: characters
that could be misread are percent-encoded (RFC 3986, 2.1).
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Any, BinaryIO
from urllib.parse import unquote

from verify.errors import UsageError
from verify.fields import LONGEST_NAME, printable, value_text
from verify.recordings.recording import (
    HIGH,
    HIGH_BEFORE,
    LOW,
    MOST_NAMES,
    PULSE,
    SAME,
    Recording,
    RecordingError,
    Row,
    Warn,
    names_text,
    shown_path,
)
from verify.recordings.sources import bytes_of
from verify.recordings.timescale import UNITS, timescale
from verify.units import MOST_TICKS, Ticks, duration_text, mixed_text, whole

if TYPE_CHECKING:
    from vcd.reader import Token, VarDecl

SCOPE = "link"
MOST_SCOPES = 1_000
LONGEST_WORD = 1 << 20

_UNSAFE = re.compile(r"[^!-~]|[%$\[\]\\#]")


def encoded(name: str) -> str:
    """A name that VCD can have."""
    return _UNSAFE.sub(lambda m: "".join(f"%{byte:02X}" for byte in m[0].encode()), name)


def vcd_text(
    signals: tuple[str, ...],
    rows: list[Row],
    tick: Fraction,
    resolution: int = 1,
    momentary: frozenset[str] = frozenset(),
) -> str:
    """A recording as VCD. ``tick``: in seconds; times of rows are multiples of its
    ``resolution``-th part. Raises UsageError if no timescale is fine enough."""
    from vcd import VCDWriter

    number, unit, size = timescale(tick / resolution)
    pulsing = {row.signal for row in rows if row.value == PULSE} | {*momentary} & {*signals}
    sheet = io.StringIO()
    with VCDWriter(
        sheet,
        timescale=f"{number} {unit}",
        date="",
        version="fewwire",
        comment=f"1 tick = {duration_text(tick)} = {mixed_text(whole(tick / size))} time units",
    ) as writer:
        variables: dict[str, Any] = {}
        for name in signals:
            kind = "event" if name in pulsing else "wire"
            rest = None if kind == "event" else 0
            variables[name] = writer.register_var(SCOPE, encoded(name), kind, size=1, init=rest)
        writer.flush()  # what follows are changes, also those at time 0
        for row in rows:
            writer.change(variables[row.signal], round(row.at * tick / size), row.value != LOW)
        writer.close(round(rows[-1].at * tick / size) if rows else None)
    return sheet.getvalue()


def read_vcd(path: str, known: tuple[str, ...], tick: Fraction, names: dict[str, str]) -> Recording:
    """Open a recording; as ``read_csv``. Signals of the file that the link does not have are
    left out, others are found in any scope. Raises RecordingError."""
    reader = _Reader(path, known, tick, names)
    with bytes_of(path) as stream:
        next(reader.declarations(reader.tokens(stream, lambda line, what: None)), None)
    if not reader.signals:
        among = f"among {reader.others}: {printable(names_text(tuple(reader.some_others)))}"
        raise RecordingError(
            reader.path,
            0,
            f"no signal of the link {among}" if reader.others else "no signals",
            f"signals by the names of traces: {names_text(known)}; or --name THEIRS=OURS",
        )
    return Recording(reader.path, frozenset(n for n, _ in reader.signals.values()), reader.rows)


class _InWords(io.RawIOBase):
    """The bytes of a file, as long as no word of it is too long: they are read one by one."""

    def __init__(self, stream: BinaryIO) -> None:
        self.stream, self.length = stream, 0

    def readinto(self, buffer: Any) -> int:
        """As of a file. Raises ValueError."""
        count = self.stream.readinto(buffer)  # type: ignore[attr-defined]
        words = re.split(rb"\s", bytes(buffer[:count]))
        longest = max(self.length + len(words[0]), *map(len, words))
        if longest > LONGEST_WORD:
            raise ValueError(f"more than {LONGEST_WORD} characters without white space")
        self.length = len(words[-1]) + (self.length if len(words) == 1 else 0)
        return int(count)


class _Reader:
    def __init__(
        self, path: str, known: tuple[str, ...], tick: Fraction, names: dict[str, str]
    ) -> None:
        self.source, self.path = path, shown_path(path)
        self.known = {name: name for name in known} | names
        # Parts of the longest name: no more of the scopes can matter.
        self.longest = max((name.count(".") + 1 for name in self.known), default=1)
        self.tick = tick
        self.line = 1
        self.size: Fraction | None = None
        # By identifier code: the signal of the link, and whether it is of type event.
        self.signals: dict[str, tuple[str, bool]] = {}
        self.others = 0
        self.some_others: list[str] = []
        self.ignored: set[str] = set()

    def tokens(self, stream: Any, warn: Warn) -> Iterator[Token]:
        """Tokens of the file; one that is cut off at its end is left out."""
        from vcd.reader import VCDParseError, tokenize

        try:
            for token in tokenize(_InWords(stream), 1 << 16):
                self.line = token.span.start.line
                yield token
        except VCDParseError as error:
            self.line = error.loc.line
            if self._cut_off(self.line) and self.size is not None and self.signals:
                warn(self.line, "the file is cut off here; what is incomplete is left out")
                return
            found = f"text that is not VCD ({str(error).split(': ', 1)[-1]})"
            raise self._error(found, "IEEE 1364 value change dump") from None
        except ValueError as error:
            # Python makes no number of more than some thousand digits.
            what = "a number of too many digits" if "set_int_max" in str(error) else str(error)
            raise self._error(
                f"text that is not VCD ({what})", "IEEE 1364 value change dump"
            ) from None

    def _cut_off(self, line: int) -> bool:
        """The file ends in the middle of this line."""
        ends, last = 0, b""
        with bytes_of(self.source) as stream:
            while block := stream.read(1 << 20):
                ends, last = ends + block.count(b"\n"), block[-1:]
        return line > ends and last != b"\n"

    def declarations(self, tokens: Iterator[Token]) -> Iterator[Token]:
        """Read what comes before the values; yields the tokens that follow."""
        from vcd.reader import TokenKind

        self.signals, self.ignored, self.size = {}, set(), None
        self.others, self.some_others = 0, []
        scopes: list[str] = []
        for token in tokens:
            if token.kind is TokenKind.TIMESCALE:
                scale = token.timescale
                self.size = scale.magnitude * UNITS.get(scale.unit.value, Fraction(0))
                if self.size <= 0:
                    found = f"a timescale of {scale.magnitude} {scale.unit.value}"
                    raise self._error(found, f"1, 10 or 100 of {', '.join(UNITS)}")
            elif token.kind is TokenKind.SCOPE:
                if len(scopes) == MOST_SCOPES:
                    raise self._error("more scopes within scopes", f"at most {MOST_SCOPES}")
                scopes.append(token.scope.ident)
            elif token.kind is TokenKind.UPSCOPE:
                del scopes[-1:]
            elif token.kind is TokenKind.VAR:
                self._declare(token.var, scopes)
            elif token.kind is TokenKind.ENDDEFINITIONS:
                break
            elif token.kind in (TokenKind.CHANGE_TIME, TokenKind.CHANGE_SCALAR):
                raise self._error(
                    "a value before $enddefinitions", "VCD (IEEE 1364), declarations first"
                )
        else:
            raise self._error("the end of the file", "$enddefinitions, then values")
        if self.size is None:
            raise self._error("no $timescale", "one, such as $timescale 1 us $end")
        yield from tokens

    def _declare(self, var: VarDecl, scopes: list[str]) -> None:
        full = unquote(".".join([*filter(None, scopes), var.ref_str]))
        # The longest name wins: "line.far" is not a "far" of some scope "line".
        parts = full.split(".")
        tails = (".".join(parts[k:]) for k in range(max(0, len(parts) - self.longest), len(parts)))
        name = next((self.known[tail] for tail in tails if tail in self.known), None)
        if name is None:
            self.others += 1
            if len(self.some_others) < MOST_NAMES:
                self.some_others.append(full[:LONGEST_NAME])
            self.ignored.add(var.id_code)
            return
        if var.size not in (0, 1):
            raise self._error(f"{value_text(full)} of {var.size} bits", "signals of one bit")
        taken = self.signals.get(var.id_code, (name, False))[0]
        if taken != name:
            raise self._error(f"one variable for {taken} and {name}", "one each")
        if any(n == name and code != var.id_code for code, (n, _) in self.signals.items()):
            raise self._error(f"two variables for {name}", "one for each signal")
        self.signals[var.id_code] = name, var.type_.value == "event"

    def rows(self, warn: Warn) -> Iterator[Row]:
        """The rows as they are read."""
        with bytes_of(self.source) as stream:
            yield from self._rows(self.declarations(self.tokens(stream, warn)), warn)

    def _rows(self, tokens: Iterator[Token], warn: Warn) -> Iterator[Row]:
        from vcd.reader import TokenKind

        # Attributes of tokens checked on every access would cost as much as reading them.
        time_kind, scalar, vector = (
            TokenKind.CHANGE_TIME,
            TokenKind.CHANGE_SCALAR,
            TokenKind.CHANGE_VECTOR,
        )
        first = first_time = True
        unmet, dumping = {name for name, event in self.signals.values() if not event}, False
        now, at = 0, whole(Fraction(0))
        told: Ticks = at
        if self.size is None:
            raise AssertionError("declarations come first")
        factor = self.size / self.tick
        per_tick = 1 / factor
        step = int(per_tick) if per_tick.denominator == 1 else 0
        for token in tokens:
            kind, data = token.kind, token.data
            if kind is scalar or kind is vector:
                change: Any = data
                known = self.signals.get(change.id_code)
                if known is not None:
                    value = self._value(str(change.value), known[0], warn)
                    if value is None or (known[1] and not value):
                        continue
                    if known[1]:
                        value = PULSE
                    elif known[0] in unmet:
                        # Values at the beginning say how a signal is found.
                        unmet.discard(known[0])
                        value = HIGH_BEFORE if value and (dumping or first_time) else value
                    told = at
                    yield Row(at, known[0], value, self.line)
                elif change.id_code not in self.ignored:
                    found = f"a value of {value_text(change.id_code)}, which is not declared"
                    raise self._error(found, "identifiers of $var")
            elif kind is time_kind:
                later: Any = data
                if later < now and not first:
                    raise self._error(f"time #{later} after #{now}", "times that never fall")
                first_time = first_time and later == 0
                first, now = False, later
                at = now // step if step and now % step == 0 else whole(now * factor)
                if at > MOST_TICKS:
                    raise self._error("a later time", f"at most {MOST_TICKS} ticks")
            elif kind is TokenKind.DUMPVARS:
                dumping = True
            elif kind is TokenKind.END and dumping:
                # What follows are changes, also at the same time.
                dumping, first_time = False, False
        if at > told:
            name, _ = next(iter(self.signals.values()))
            yield Row(at, name, SAME, self.line)

    def _value(self, text: str, signal: str, warn: Warn) -> int | None:
        if text == "0":
            return LOW
        if text == "1":
            return HIGH
        if text.lower() in ("x", "z", "u", "w", "-"):
            warn(self.line, f"{signal} is {text}: neither 0 nor 1; left as it was")
            return None
        raise self._error(f"value {value_text(text)} of {signal}", "0, 1, x or z")

    def _error(self, found: str, allowed: str) -> RecordingError:
        return RecordingError(self.path, self.line, printable(found), allowed)


__all__ = ["UsageError", "encoded", "read_vcd", "vcd_text"]
