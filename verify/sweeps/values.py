"""Values that a sweep puts into a link file: written as JSON, counted from one to another."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from typing import Any

from verify.fields import Finding, Written, refusal, value_text
from verify.units import UNITS, TimeError, decimal_text, parse_duration

MOST_VALUES = 10_000

_NUMBER = re.compile(r"\s*([+-]?[0-9]{1,18}(?:\.[0-9]{1,18})?)\s*(.*?)\s*")
_RANGE = "{ from = ..., to = ..., step = ... }"
ALLOWED = f"a list of one value or more, or {_RANGE}"
_KINDS = 'three numbers, three durations like "50 ms", or three shares like "2 %"'


class NoValueError(ValueError):
    """A value of TOML that no key of a link file takes."""


def canonical(value: object) -> str:
    """The value as JSON, with decimals as they are written: what is exact stays so.

    Raises NoValueError for dates, and numbers without an end.
    """
    if isinstance(value, Written):
        exact = Decimal(value.text)
        if not exact.is_finite():
            raise NoValueError
        text = str(exact)
        # A whole number with a point is another value of TOML than one without.
        return text if "." in text or "E" in text else f"{text}.0"
    if isinstance(value, list):
        return f"[{', '.join(map(canonical, value))}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{json.dumps(k)}: {canonical(v)}' for k, v in value.items())}}}"
    if value is None or not isinstance(value, str | int | bool):
        raise NoValueError
    return json.dumps(value, ensure_ascii=False)


def parsed(text: str) -> Any:
    """What ``canonical`` wrote, as a link file's reader wants it."""
    return json.loads(text, parse_float=Written)


def values_of(value: object) -> tuple[str, ...]:
    """The values of one key of a grid, as JSON. To be called by validators."""
    if isinstance(value, dict):
        return tuple(canonical(v) for v in _steps(value))
    if not isinstance(value, list) or not value:
        raise refusal(Finding((), ALLOWED))
    if len(value) > MOST_VALUES:
        raise refusal(Finding((), f"at most {MOST_VALUES} values", f"{len(value)} values"))
    first: dict[str, int] = {}
    for i, entry in enumerate(value):
        try:
            text = canonical(entry)
        except NoValueError:
            allowed = "a number, text, true or false, a list or a table"
            raise refusal(Finding((i,), allowed, value_text(entry))) from None
        if first.setdefault(text, i) != i:
            allowed = f"a value of its own; entry {first[text]} is the same"
            raise refusal(Finding((i,), allowed))
    return tuple(first)


def _steps(value: dict[str, Any]) -> Iterator[Any]:
    if set(value) != {"from", "to", "step"}:
        raise refusal(Finding((), ALLOWED, value_text(value)))
    amounts = {key: _amount(value[key]) for key in ("from", "to", "step")}
    for key, amount in amounts.items():
        if amount is None:
            raise refusal(Finding((key,), _KINDS))
    found = [amount for amount in amounts.values() if amount is not None]
    if len({kind for _, kind, _ in found}) > 1:
        raise refusal(Finding((), _KINDS, value_text(value)))
    (start, kind, _), (end, _, _), (step, _, unit) = found
    if step <= 0:
        raise refusal(Finding(("step",), "more than 0"))
    if end < start:
        raise refusal(Finding(("to",), "no less than from"))
    many = (end - start) // step + 1
    if many > MOST_VALUES:
        raise refusal(Finding(("step",), f"a step that makes at most {MOST_VALUES} values"))
    whole = all(isinstance(v, int) for v in value.values())
    for k in range(many):
        yield _written(start + k * step, kind, unit, whole)


def _amount(value: object) -> tuple[Fraction, str, str] | None:
    """Of a number, in seconds of a duration, in parts of 1 of a share; its kind, and its unit."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int):
        return Fraction(value), "number", ""
    if isinstance(value, Written):
        exact = Decimal(value.text)
        small = exact.is_finite() and (exact.is_zero() or abs(exact.adjusted()) < 18)
        return (Fraction(exact), "number", "") if small else None
    match = _NUMBER.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        return None
    if match[2] == "%":
        return Fraction(match[1]) / 100, "share", "%"
    try:
        return parse_duration(str(value)), "duration", match[2]
    except TimeError:
        return None


def _written(amount: Fraction, kind: str, unit: str, whole: bool) -> Any:
    if kind == "share":
        return f"{decimal_text(amount * 100)} %"
    if kind == "duration":
        parts = amount / UNITS.get(unit, Fraction(1))
        if (10**18 * parts).denominator != 1:
            parts, unit = amount, "s"  # a part of a minute may have no end
        return f"{decimal_text(parts)} {unit}"
    if whole:
        return int(amount)
    return Written(decimal_text(amount))


def plain(text: str) -> int | float | bool | str:
    """A value as it stands in a table: a number, a word, or else JSON."""
    value = parsed(text)
    if isinstance(value, Written):
        return float(value)
    return value if isinstance(value, int | str) else text


def words(text: str) -> str:
    """A value as people read it."""
    value = parsed(text)
    return value if isinstance(value, str) else text
