"""Claims on some variables that follow from claims on more: by Gauss, then Fourier and Motzkin."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from verify.recheck.known import Stack
from verify.recheck.linear import Claim, Known, Op, Sum, Value, opposite, plus


def projected(claims: Iterable[Claim], kept: set[str]) -> list[Claim]:
    """All that the claims say of the variables ``kept``, over the real numbers."""
    found = _paired(_scaled(claim.op, claim.sum) or claim for claim in claims)
    while True:
        names = {name for claim in found for name, _ in claim.sum.parts} - kept
        if not names:
            return found
        exact = [c for c in found if c.op == "=" and any(n in names for n, _ in c.sum.parts)]
        if exact:
            found = _solved(found, exact[0], names)
        else:
            found = _combined(found, min(sorted(names), key=lambda name: _pairs(found, name)))
            if len(found) > 40:
                found = needed(found)


def _paired(claims: Iterable[Claim]) -> list[Claim]:
    """Two, scaled, that say at most and at least the same are one equality."""
    found: dict[Claim, None] = {}
    for claim in claims:
        other = Claim("<=", _turned(claim.sum))
        if claim.op == "<=" and other in found:
            del found[other]
            found[Claim("=", claim.sum)] = None
        else:
            found[claim] = None
    return list(found)


def _turned(total: Sum) -> Sum:
    return Sum(-total.constant, tuple((name, -factor) for name, factor in total.parts))


def _scaled(op: Op, total: Value) -> Claim | None:
    """A claim with the first factor 1 or -1, so that equal ones look alike; None: on a number."""
    if not isinstance(total, Sum):
        return None
    size = abs(Fraction(total.parts[0][1]))
    if size == 1:
        return Claim(op, total)
    parts = tuple((name, _plain(factor / size)) for name, factor in total.parts)
    return Claim(op, Sum(_plain(total.constant / size), parts))


def _plain(value: Known) -> Known:
    value = Fraction(value)
    return int(value) if value.denominator == 1 else value


def _factor(claim: Claim, name: str) -> Known:
    return dict(claim.sum.parts).get(name, 0)


def _solved(claims: list[Claim], exact: Claim, names: set[str]) -> list[Claim]:
    """One variable put as the equality says."""
    name, factor = next((n, f) for n, f in exact.sum.parts if n in names)
    found: dict[Claim, None] = {}
    for claim in claims:
        if claim is exact:
            continue
        times = Fraction(_factor(claim, name)) / factor
        new = _scaled(claim.op, plus(claim.sum, exact.sum, -times)) if times else claim
        if new is not None:
            found[new] = None
    return _paired(found)


def _pairs(claims: list[Claim], name: str) -> int:
    factors = [_factor(claim, name) for claim in claims]
    return sum(f > 0 for f in factors) * sum(f < 0 for f in factors)


def _combined(claims: list[Claim], name: str) -> list[Claim]:
    """Every upper bound of a variable against every lower one."""
    factors = [(claim, _factor(claim, name)) for claim in claims]
    found = {claim: None for claim, factor in factors if not factor}
    uppers = [(claim, factor) for claim, factor in factors if factor > 0]
    lowers = [(claim, factor) for claim, factor in factors if factor < 0]
    for upper, a in uppers:
        for lower, b in lowers:
            op: Op = "<" if "<" in (upper.op, lower.op) else "<="
            new = _scaled(op, plus(plus(0, upper.sum, -b), lower.sum, a))
            if new is not None:
                found[new] = None
    return _paired(found)


def needed(claims: list[Claim]) -> list[Claim]:
    """Those that do not follow from the others."""
    kept = list(claims)
    stack = Stack()  # what the claims have in common stays asserted
    for claim in claims:
        others = [c for c in kept if c is not claim]
        if claim.op != "=" and not stack.possible([*others, opposite(claim)]):
            kept = others
    return kept
