"""Kinds of values in a link file, and what is said about a value that is of no such kind.

Tables of the file are pydantic models made of these. What is wrong becomes a
``Finding``: one place in the file, and what is allowed there.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sized
from dataclasses import dataclass, replace
from decimal import Decimal
from difflib import get_close_matches
from fractions import Fraction
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import (
    BaseModel,
    ConfigDict,
    PlainValidator,
    ValidationError,
    ValidationInfo,
)
from pydantic_core import PydanticCustomError

from verify import units
from verify.errors import LinkFileError

Key = tuple[str | int, ...]

LONGEST_NAME = 1000
_LONGEST = 60  # characters of a value that are repeated in a message
_BARE = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True)
class Finding:
    """Something wrong at ``key``. ``found``: in words, None to repeat what stands there.

    ``of_table``: a table of proper entries that do not go together, which can be judged.
    """

    key: Key
    allowed: str
    found: str | None = None
    missing: bool = False
    of_table: bool = False


@dataclass(frozen=True)
class Context:
    """What a table needs to know of the others; None where that is itself wrong or left open.

    ``tick`` in seconds, ``inputs`` their number.
    """

    tick: Fraction | None = None
    inputs: int | None = None


class Table(BaseModel):
    """A table of a link file. A field's description says what is allowed in it."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


def refusal(*findings: Finding) -> PydanticCustomError:
    """To be raised by validators. Keys are relative to the field or table validated.

    Without findings: no verdict, because what the value depends on is itself wrong.
    """
    return PydanticCustomError("refused", "refused", {"findings": findings})


def context(info: ValidationInfo) -> Context:
    """The context that the validation was given."""
    return info.context if isinstance(info.context, Context) else Context()


# -- kinds of values ----------------------------------------------------------


def _ticks(value: object, tick: Fraction | None, least: int, key: Key = ()) -> int:
    try:
        ticks = units.to_ticks(value, tick, least)
    except units.TimeError as error:
        raise refusal(Finding(key, error.allowed)) from None
    if ticks is None:
        raise refusal()
    return ticks


def ticks(least: int) -> PlainValidator:
    """A time of at least ``least`` ticks."""
    return PlainValidator(
        lambda value, info: _ticks(value, context(info).tick, least), json_schema_input_type=Any
    )


def span(least: int, *, single: bool) -> PlainValidator:
    """``[least, most]``, or, if ``single``, one time that stands for both."""
    pair = f"[least, most], each {units.allowed_time(least)}"

    def check(value: object, info: ValidationInfo) -> tuple[int, int]:
        tick = context(info).tick
        if not isinstance(value, list):
            if single:
                only = _ticks(value, tick, least)
                return only, only
            raise refusal(Finding((), pair))
        if len(value) != 2:
            raise refusal(Finding((), pair))
        low, high = (_ticks(x, tick, least, (i,)) for i, x in enumerate(value))
        if low > high:
            raise refusal(Finding((), "[least, most] with least not above most"))
        return low, high

    return PlainValidator(check, json_schema_input_type=Any)


def _label(value: object) -> str:
    proper = isinstance(value, str) and value.isprintable() and value == value.strip() != ""
    if not proper:
        raise refusal(Finding((), "printable text in quotes, without spaces at its ends"))
    if len(str(value)) > LONGEST_NAME:
        raise refusal(Finding((), f"at most {LONGEST_NAME} characters"))
    return str(value)


# -- relative errors ----------------------------------------------------------

RATE = (
    "a relative error x, which means [-x, x], or [least, most]; each a number, or a string like "
    '"2 %", "-0.02" or "1/160"; least from -0.5 to 0, most from 0 to 1'
)
_RATIO = re.compile(
    r"\s*([+-]?[0-9]{1,18}(?:\.[0-9]{1,18})?)\s*(%)?\s*|\s*([+-]?[0-9]{1,18}/[0-9]{1,18})\s*"
)


class Written(float):
    """A float of a file that remembers how it was written, so that 0.02 is exactly 1/50."""

    text: str

    def __new__(cls, text: str) -> Written:
        """``text`` as TOML has it."""
        made = super().__new__(cls, text)
        made.text = text.replace("_", "")
        return made


def ratio(value: object) -> Fraction | None:
    """A number, exactly as it is written; None if it is none, or has no end."""
    if isinstance(value, int) and not isinstance(value, bool):
        return Fraction(value) if value.bit_length() < 64 else None
    if isinstance(value, Written):
        # An exponent may be as large as it likes: the size is looked at before the number is made.
        exact = Decimal(value.text)
        small = exact.is_finite() and (exact.is_zero() or abs(exact.adjusted()) < 18)
        return Fraction(exact) if small else None
    match = _RATIO.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        return None
    try:
        return Fraction(match[1] or match[3]) / (100 if match[2] else 1)
    except ZeroDivisionError:
        return None


def _rate(value: object) -> tuple[Fraction, Fraction]:
    ends = [ratio(x) for x in value] if isinstance(value, list) else [ratio(value)]
    if len(ends) == 1 and not isinstance(value, list):
        ends = [None if ends[0] is None else -ends[0], ends[0]]
    least, most = ends if len(ends) == 2 else (None, None)
    if least is None or most is None or not (Fraction(-1, 2) <= least <= 0 <= most <= 1):
        raise refusal(Finding((), RATE))
    return least, most


Rate = Annotated[tuple[Fraction, Fraction], PlainValidator(_rate, json_schema_input_type=Any)]
Time = Annotated[int, ticks(0)]
PositiveTime = Annotated[int, ticks(1)]
Span = Annotated[tuple[int, int], span(0, single=True)]
PositiveSpan = Annotated[tuple[int, int], span(1, single=True)]
Pair = Annotated[tuple[int, int], span(0, single=False)]
Label = Annotated[str, PlainValidator(_label)]


# -- what is said -------------------------------------------------------------


def check(
    table: type[Table], value: object, key: Key, known: Context
) -> tuple[Table | None, list[Finding]]:
    """The table read from ``value``, which stands at ``key``, or what is wrong with it.

    Unknown keys are found here, but what to say of them is left to ``unknown_key``.
    """
    try:
        return table.model_validate(value, context=known), []
    except ValidationError as error:
        return None, [f for e in error.errors() for f in _findings(table, e, key)]


def _findings(table: type[Table], error: Any, key: Key) -> Iterable[Finding]:
    place: Key = key + error["loc"]
    if error["type"] == "refused":
        for finding in error["ctx"]["findings"]:
            yield replace(finding, key=place + finding.key)
    elif error["type"] == "extra_forbidden":
        yield Finding(place, "", UNKNOWN)
    elif not error["loc"]:
        yield Finding(place, f"a table [{key_text(place)}]")
    else:
        field = table.model_fields[str(error["loc"][0])]
        allowed = field.description or ""
        if get_origin(field.annotation) is Literal:
            words = get_args(field.annotation)
            allowed = one_of(words) + did_you_mean(error["input"], words)
        if error["type"] == "missing":
            yield Finding(place, allowed, "nothing", missing=True)
        else:
            yield Finding(place, allowed)


UNKNOWN = "an unknown key"


def one_of(words: Iterable[str]) -> str:
    """Quoted, with "or" before the last."""
    *first, last = (f'"{w}"' for w in words)
    return f"{', '.join(first)} or {last}" if first else last


def number_of_entries(entries: Sized) -> str:
    """Of a list, in words."""
    return f"{len(entries)} {'entry' if len(entries) == 1 else 'entries'}"


def file_error(
    source: str, document: Any, first: Finding, more: int, allowed: str | None = None
) -> LinkFileError:
    """One finding in a file, and that there are ``more``. ``allowed``: instead of what it says."""
    allowed = first.allowed if allowed is None else allowed
    if more:
        allowed += f" (and {more} more {'problem' if more == 1 else 'problems'})"
    found = first.found or ("nothing" if first.missing else _repeat(document, first.key))
    return LinkFileError(source, key_text(first.key), found, allowed)


def _repeat(value: Any, key: Key) -> str:
    """What stands in a place, or in the last one on the way to it."""
    for part in key:
        try:
            value = value[part]
        except (KeyError, TypeError, IndexError):
            break
    return value_text(value)


def did_you_mean(word: object, known: Iterable[str]) -> str:
    """A hint to be appended, empty if no known word is close."""
    close = get_close_matches(word, list(known), n=1) if isinstance(word, str) else []
    return f"; did you mean '{close[0]}'?" if close else ""


def key_text(key: Key) -> str:
    """``link.gaps[3]``: dotted, entries of lists counted from 0."""
    text = ""
    for part in key:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            name = part if _BARE.fullmatch(part) else _cut(_quoted(part))
            text += f".{name}" if text else name
    return text


def value_text(value: object) -> str:
    """A value as it may have stood in the file, on one line, shortened if long."""
    return _cut(_value(value, _LONGEST))


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."


def _value(value: object, room: int) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and value.bit_length() > 4 * _LONGEST:
        return "a number of very many digits"
    if isinstance(value, str):
        return _quoted(value[: _LONGEST + 1])
    if isinstance(value, list | dict):
        # No more entries than can be shown: a list may be long, and nested deeply.
        if room <= 0:
            return "..."
        shown: list[str] = []
        entries = value.items() if isinstance(value, dict) else ((None, x) for x in value)
        for name, x in entries:
            text = _value(x, room - 2)
            shown.append(text if name is None else f"{key_text((name,))} = {text}")
            room -= len(shown[-1]) + 2
            if room <= 0:
                break
        shown += ["..."] if len(shown) < len(value) else []
        inside = ", ".join(shown)
        return f"[{inside}]" if isinstance(value, list) else f"{{{inside}}}"
    return str(value)


def _quoted(text: str) -> str:
    return f'"{printable(text.replace(chr(92), chr(92) * 2).replace(chr(34), chr(92) + chr(34)))}"'


def printable(text: str) -> str:
    """The same with everything that would break a line, or not show, escaped."""
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text
    )
