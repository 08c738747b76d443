"""Sums of unknown times, and what may be said of them, in SMT-LIB 2.

A *sum* is a constant plus variables times constants; a sum without variables is a plain number.
A *claim* compares a sum with 0. Numbers are folded here and nowhere else: what is left is text.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, TypeAlias

Known: TypeAlias = int | Fraction
Value: TypeAlias = "Known | Sum"
Op: TypeAlias = Literal["<=", "<", "="]


@dataclass(frozen=True)
class Sum:
    """``constant`` plus the ``parts``: coefficients of variables, by name, none of them 0."""

    constant: Known
    parts: tuple[tuple[str, Known], ...]


def variable(name: str) -> Sum:
    """The sum that is this variable."""
    return Sum(0, ((name, 1),))


def plus(a: Value, b: Value, times: Known = 1) -> Value:
    """``a + times * b``."""
    if not isinstance(b, Sum):
        if not isinstance(a, Sum):
            return a + times * b
        return Sum(a.constant + times * b, a.parts)
    constant, parts = (a.constant, dict(a.parts)) if isinstance(a, Sum) else (a, {})
    for name, factor in b.parts:
        parts[name] = parts.get(name, 0) + times * factor
    return made(constant + times * b.constant, parts)


def minus(a: Value, b: Value) -> Value:
    """``a - b``."""
    return plus(a, b, -1)


def made(constant: Known, parts: Mapping[str, Known]) -> Value:
    """A sum, or the number that it is."""
    left = tuple(sorted((name, factor) for name, factor in parts.items() if factor))
    return Sum(constant, left) if left else constant


@dataclass(frozen=True)
class Claim:
    """The sum is at most 0, below 0 or 0."""

    op: Op
    sum: Sum


def compare(op: Op, a: Value, b: Value) -> Claim | bool:
    """``a op b``, at once where it is known."""
    difference = minus(a, b)
    if isinstance(difference, Sum):
        return Claim(op, difference)
    if op == "=":
        return difference == 0
    return difference < 0 if op == "<" else difference <= 0


def opposite(claim: Claim) -> Claim:
    """What holds where an inequality does not."""
    if claim.op == "=":
        raise AssertionError("the opposite of an equality is no one claim")
    turned = plus(0, claim.sum, -1)
    if not isinstance(turned, Sum):
        raise AssertionError("a claim on a number")
    return Claim("<" if claim.op == "<=" else "<=", turned)


# -- text -------------------------------------------------------------------------


def number_text(value: Known) -> str:
    """A number as SMT-LIB has it, which knows no minus sign before digits."""
    size = abs(value)
    text = str(size)
    if isinstance(size, Fraction) and size.denominator > 1:
        text = f"(/ {size.numerator} {size.denominator})"
    return text if value >= 0 else f"(- {text})"


def sum_text(value: Value, replaced: Mapping[str, str] | None = None) -> str:
    """A sum; ``replaced``: texts that stand for some of its variables."""
    if not isinstance(value, Sum):
        return number_text(value)
    texts = [number_text(value.constant)] if value.constant else []
    for name, factor in value.parts:
        text = name if replaced is None else replaced.get(name, name)
        texts.append(text if factor == 1 else f"(* {number_text(factor)} {text})")
    return texts[0] if len(texts) == 1 else f"(+ {' '.join(texts)})"


def claim_text(claim: Claim, replaced: Mapping[str, str] | None = None) -> str:
    """A claim, the parts with a minus on the right side."""
    plain = {name: factor for name, factor in claim.sum.parts if factor > 0}
    others = {name: -factor for name, factor in claim.sum.parts if factor < 0}
    constant = claim.sum.constant
    left = made(max(constant, 0), plain)
    right = made(max(-constant, 0), others)
    return f"({claim.op} {sum_text(left, replaced)} {sum_text(right, replaced)})"


def both(texts: Iterable[str]) -> str:
    """All of them."""
    return _joined("and", "true", texts)


def either(texts: Iterable[str]) -> str:
    """Any of them."""
    return _joined("or", "false", texts)


def _joined(word: str, neutral: str, texts: Iterable[str]) -> str:
    kept = list(dict.fromkeys(text for text in texts if text != neutral))
    if len(kept) <= 1:
        return kept[0] if kept else neutral
    return f"({word} {' '.join(kept)})"
