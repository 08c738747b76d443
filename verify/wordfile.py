"""Read a file of code words: TOML to ``WordFile``, or one clear ``LinkFileError``.

Such a file has a table [code] where a link file has [link]. Its words are sent back to
back, so they are all there is to say, besides what disturbs them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any

from pydantic import (
    Field,
    PlainValidator,
    ValidationInfo,
    field_validator,
    model_validator,
)

from verify import units
from verify.errors import LinkFileError
from verify.fields import (
    UNKNOWN,
    Context,
    Finding,
    Label,
    Rate,
    Table,
    Time,
    check,
    context,
    did_you_mean,
    file_error,
    number_of_entries,
    refusal,
)

MOST_WORDS = 10_000
LONGEST_WORD = 1_000

_WORD = (
    f'symbols in quotes, like "011", 1 to {LONGEST_WORD} of them, or a list of times that are '
    "marks and gaps in turn, like [1, 1, 3, 3]"
)
_TIMES = "an even number of times: marks and gaps in turn, the last a gap, after which a word ends"
_TICK = 'a quoted duration above 0, like "50 ms" (ns, us, ms, s, min)'


def _word(value: object, info: ValidationInfo) -> str | tuple[int, ...]:
    if isinstance(value, str) and 1 <= len(value) <= LONGEST_WORD:
        return value
    if not isinstance(value, list) or not 1 <= len(value) <= LONGEST_WORD:
        raise refusal(Finding((), _WORD))
    if len(value) % 2:
        raise refusal(Finding((), _TIMES, number_of_entries(value)))
    times: list[int | None] = []
    findings = []
    for i, entry in enumerate(value):
        try:
            times.append(units.to_ticks(entry, context(info).tick, 1))
        except units.TimeError as error:
            findings.append(Finding((i,), error.allowed))
    if findings or None in times:
        raise refusal(*findings)
    return tuple(t for t in times if t is not None)


class _Code(Table):
    """Table ``[code]``."""

    words: list[
        Annotated[str | tuple[int, ...], PlainValidator(_word, json_schema_input_type=Any)]
    ] = Field(description=f"a list of code words, each {_WORD}")
    names: list[Label] | None = Field(
        None, description="a list with one name per word, each a string"
    )
    window: Time | None = None

    @field_validator("words")
    @classmethod
    def _some(cls, words: list[str | tuple[int, ...]]) -> list[str | tuple[int, ...]]:
        if not words:
            raise refusal(Finding((), "at least one word"))
        if len(words) > MOST_WORDS:
            allowed = f"at most {MOST_WORDS} words"
            raise refusal(Finding((), allowed, number_of_entries(words)))
        for i, word in enumerate(words):
            if isinstance(word, str) != isinstance(words[0], str):
                raise refusal(Finding((i,), "words of one kind: all symbols, or all times"))
        return words

    @model_validator(mode="after")
    def _fit_together(self) -> _Code:
        findings = []
        if self.names is not None and len(self.names) != len(self.words):
            allowed = f"{len(self.words)}, one per word"
            findings.append(Finding(("names",), allowed, number_of_entries(self.names)))
        for i, name in enumerate(self.names or ()):
            first = (self.names or []).index(name)
            if first != i:
                allowed = f"a name of its own; names[{first}] is the same"
                findings.append(Finding(("names", i), allowed))
                break
        if self.window is not None and isinstance(self.words[0], str):
            findings.append(Finding(("window",), "no key: words of symbols take no time"))
        if findings:
            raise refusal(*findings)
        return self


class _Line(Table):
    """Table ``[line]``."""

    jitter: Time = 0


class _Clock(Table):
    """Table ``[clock]``."""

    rate: Rate = (Fraction(0), Fraction(0))


class _Top(Table):
    """The whole file."""

    name: Label | None = Field(None, description="a string")
    tick: str | None = Field(None, description=_TICK)
    code: object = None
    line: object = Field({})
    clock: object = Field({})


_TABLES: dict[str, type[Table]] = {"code": _Code, "line": _Line, "clock": _Clock}


@dataclass(frozen=True)
class WordFile:
    """Code words and what disturbs them. ``tick`` in seconds, None if not given.

    ``words``: strings of symbols, or times in ticks, marks and gaps in turn. ``window``: ticks
    accepted either side of each length; None: whatever is sent is accepted. ``jitter`` in ticks;
    ``rate``: least and most error of the transmitter's clock.
    """

    name: str
    tick: Fraction | None
    words: tuple[str | tuple[int, ...], ...]
    names: tuple[str, ...]
    window: int | None
    jitter: int
    rate: tuple[Fraction, Fraction]

    @property
    def timed(self) -> bool:
        """Words are made of marks and gaps."""
        return not isinstance(self.words[0], str)


def parse_words(document: dict[str, Any], source: str, name: str) -> WordFile:
    """The code words of a file. ``name``: if the file gives none. Raises LinkFileError."""
    findings: list[Finding] = []
    top, found = check(_Top, document, (), Context())
    findings += found
    tick = _tick(document.get("tick"), findings)
    read: dict[str, Any] = {}
    for key, table in _TABLES.items():
        read[key], found = check(table, document.get(key, {}), (key,), Context(tick))
        findings += found
    if tick is None and not findings and None in read.values():
        # Nothing is wrong but that a duration cannot be counted in ticks.
        findings.append(Finding(("tick",), _TICK, missing=True))
    if findings or not isinstance(top, _Top):
        raise _error(findings, document, source)
    code, line, clock = read["code"], read["line"], read["clock"]
    if isinstance(code.words[0], str):
        for where, table, name_of in (("line", line, "jitter"), ("clock", clock, "rate")):
            if name_of in table.model_fields_set:
                allowed = "no key: words of symbols take no time"
                findings.append(Finding((where, name_of), allowed))
    elif line.jitter >= min(min(word) for word in code.words):
        shortest = min(min(word) for word in code.words)
        allowed = f"less than the shortest length, which is {shortest}"
        findings.append(Finding(("line", "jitter"), allowed))
    if findings:
        raise _error(findings, document, source)
    return WordFile(
        top.name or name,
        tick,
        tuple(code.words),
        tuple(code.names or (str(i + 1) for i in range(len(code.words)))),
        code.window,
        line.jitter,
        clock.rate,
    )


def _tick(value: object, findings: list[Finding]) -> Fraction | None:
    if not isinstance(value, str):
        return None
    try:
        tick = units.parse_duration(value)
    except units.TimeError:
        tick = Fraction(0)
    if tick <= 0:
        findings.append(Finding(("tick",), _TICK))
        return None
    return tick


def _error(findings: Iterable[Finding], document: dict[str, Any], source: str) -> LinkFileError:
    first, *more = findings
    allowed = first.allowed
    if first.found == UNKNOWN:
        table = _TABLES[str(first.key[0])] if len(first.key) > 1 else _Top
        known = list(table.model_fields)
        allowed = ", ".join(known) + did_you_mean(first.key[-1], known)
    return file_error(source, document, first, len(more), allowed)
