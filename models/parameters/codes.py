"""Tables of codes, for schemes that tell inputs apart by a word of bits."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import PlainValidator

from verify.fields import Finding, refusal

WIDEST = 24  # bits of a code

_DIGITS = re.compile(rf"[01]{{1,{WIDEST}}}")
_ALLOWED = 'a whole number, at least 0, or digits 0 and 1 in quotes, like "0101"'

LIST_OF_CODES = f"a list with one code per input, each {_ALLOWED}"
WIDTH = f"a whole number from 1 to {WIDEST}"


def _code(value: object) -> int | str:
    number = isinstance(value, int) and not isinstance(value, bool) and value >= 0
    if number or (isinstance(value, str) and _DIGITS.fullmatch(value)):
        return value  # type: ignore[return-value]
    raise refusal(Finding((), _ALLOWED))


Code = Annotated[int | str, PlainValidator(_code, json_schema_input_type=Any)]
"""As it stands in the file: a number, or its binary digits."""


def as_number(code: int | str) -> int:
    """The word that a code is; the last digit is bit 0."""
    return int(code, 2) if isinstance(code, str) else code


def least_width(codes: Sequence[int | str]) -> int:
    """Bits that the codes need: as many as the longest string has digits, at least 1."""
    bits = (len(c) if isinstance(c, str) else c.bit_length() for c in codes)
    return min(WIDEST, max(1, *bits))


def misfits(codes: Sequence[int | str], width: int, place: str) -> list[Finding]:
    """Codes that do not fit ``width`` bits, each of which is one ``place`` in words, or repeat."""
    places = f"{width} {place}" + ("s" if width > 1 else "")
    findings = []
    first: dict[int, int] = {}
    for i, code in enumerate(codes):
        word = as_number(code)
        if isinstance(code, str) and len(code) != width:
            digits = "1 digit" if width == 1 else f"exactly {width} digits"
            findings.append(Finding(("codes", i), f"{digits}, one per {place}"))
        elif word >> width:
            allowed = f"at most {(1 << width) - 1}: a code may not be wider than the {places}"
            findings.append(Finding(("codes", i), allowed))
        elif word in first:
            allowed = f"a code of its own; codes[{first[word]}] is the same"
            findings.append(Finding(("codes", i), allowed, of_table=True))
        first.setdefault(word, i)
    return findings
