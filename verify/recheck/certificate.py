"""A certificate as a file: JSON that holds the link file and why its verdict is right.

Of *holds*: an invariant per part of the link. Of *fails*: the run that fails. A certificate
says nothing about the link but its file's text; whoever checks it reads that anew.
"""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from verify.errors import LinkFileError
from verify.fields import printable
from verify.language.machine import System
from verify.language.state import Bank, Number, Timer
from verify.recheck.groups import Group, Limit, Place

VERSION = 1
MOST_BYTES = 32 << 20
# Times of a group that nothing but limits tells; a group of more is refused.
MOST_VARIABLES = 200
_VARIABLE = r"^[tn][0-9]{1,9}$"
_Variable = Annotated[str, Field(pattern=_VARIABLE)]
_Whole = Annotated[int, Field(ge=-(10**30), le=10**30)]
_Exact = _Whole | Annotated[str, Field(pattern=r"^-?[0-9]{1,30}/[1-9][0-9]{0,29}$")]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class GroupFile(_Part):
    """A group of states: places in the order of the memory, limits as ``[most, factors]``."""

    places: list[_Whole | _Variable | list[list[_Whole | _Variable]]]
    limits: list[Annotated[list[_Exact | dict[_Variable, _Exact]], Field(min_length=2)]]


class InvariantFile(_Part):
    """The groups of one part of the link. ``busy``: ticks after which a queue is empty again."""

    part: str
    memory: list[str]
    busy: Annotated[int, Field(ge=1, le=10**30)] | None = None
    groups: list[GroupFile]


class RunFile(_Part):
    """What the world does in a run that fails, and when it does; in ``parts`` of a tick."""

    presses: list[Annotated[list[_Whole], Field(min_length=2, max_length=2)]]
    delay: _Whole
    picks: list[Annotated[list[_Whole | str], Field(min_length=3, max_length=3)]]
    constants: dict[str, _Whole]
    parts: Annotated[int, Field(ge=1, le=10**18)]
    fails: _Whole


class CodeFile(_Part):
    """The Python file that the link file names, as ``link.python`` has it."""

    file: str
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Certificate(_Part):
    """All of a certificate."""

    fewwire_certificate: Annotated[int, Field(ge=VERSION, le=VERSION)]
    verdict: Literal["holds", "fails"]
    name: str
    link: str
    code: CodeFile | None = None
    argument: Literal["parts", "amid any", "waiting"] = "parts"
    invariants: list[InvariantFile] = []
    run: RunFile | None = None


def certificate_of(text: str, source: str) -> Certificate:
    """The certificate in a file's text. Raises LinkFileError, in one line, if it is none."""
    text = text.removeprefix("\ufeff")
    try:
        found = Certificate.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part)[:40] for part in first["loc"][:4])
        shown = ascii(str(first.get("input")))
        shown = shown if len(shown) <= 40 else f"{shown[:40]}..."
        allowed = f"a certificate ({printable(first['msg'])})"
        raise LinkFileError(source, printable(key), shown, allowed) from None
    # Of a key that is there twice readers may take the one or the other.
    twice: list[str] = []
    json.loads(text, object_pairs_hook=lambda pairs: _note_twice(pairs, twice))
    if twice:
        raise LinkFileError(source, printable(twice[0]), "it twice", "each key once")
    if not found.name.isprintable() or found.name.strip() != found.name or not found.name:
        raise LinkFileError(source, "name", ascii(found.name[:40]), "a name of printable text")
    return found


def _note_twice(pairs: list[tuple[str, Any]], twice: list[str]) -> dict[str, Any]:
    once = dict(pairs)
    if len(once) < len(pairs):
        keys = [key for key, _ in pairs]
        twice.append(next(key for k, key in enumerate(keys) if key in keys[:k]))
    return once


# -- text -------------------------------------------------------------------------


def text_of(certificate: Certificate) -> str:
    """A certificate as a file's text, the same for the same certificate."""
    data = certificate.model_dump(mode="json")
    invariants = data.pop("invariants")
    if data["code"] is None:
        del data["code"]
    lines = [f"  {json.dumps(key)}: {_dumped(value)}" for key, value in data.items()]
    parts = []
    for invariant in invariants:
        groups = ",\n      ".join(_dumped(group) for group in invariant["groups"])
        busy = "" if invariant["busy"] is None else f'     "busy": {_dumped(invariant["busy"])},\n'
        parts.append(
            f'    {{"part": {_dumped(invariant["part"])},\n{busy}'
            f'     "memory": {_dumped(invariant["memory"])},\n'
            f'     "groups": [\n      {groups}\n     ]}}'
        )
    inner = ",\n".join(parts)
    lines.append(f'  "invariants": [\n{inner}\n  ]' if parts else '  "invariants": []')
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _dumped(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


# -- groups -----------------------------------------------------------------------


def group_file(group: Group) -> GroupFile:
    """A group as it stands in a certificate."""
    places = [
        [list(entry) for entry in place] if isinstance(place, tuple) else place
        for place in group.places
    ]
    limits = [
        [_exact(most), {name: _exact(factor) for name, factor in factors}]
        for most, factors in group.limits
    ]
    return GroupFile(places=places, limits=limits)


def _exact(value: int | Fraction) -> int | str:
    value = Fraction(value)
    return int(value) if value.denominator == 1 else f"{value.numerator}/{value.denominator}"


class MisfitError(Exception):
    """A group that is none of the system; the text says why."""


def group_of(file: GroupFile, system: System) -> Group:
    """A group of a certificate, held against the memory that it is of. Raises MisfitError."""
    if len(file.places) != len(system.memory):
        raise MisfitError("a place for each piece of memory")
    used: list[str] = []
    places: list[Place] = []
    for item, place in zip(system.memory, file.places, strict=True):
        places.append(_place(item, place, used))
    if len(set(used)) < len(used):
        raise MisfitError("a name of its own for every variable")
    if len(used) > MOST_VARIABLES:
        raise MisfitError(f"at most {MOST_VARIABLES} variables in a group")
    limits = tuple(_limit(limit, used) for limit in file.limits)
    if not system.dense and not all(map(_is_whole, limits)):
        raise MisfitError("whole numbers in limits, where time is whole ticks")
    return Group(tuple(places), limits)


def _is_whole(limit: Limit) -> bool:
    most, factors = limit
    return all(Fraction(x).denominator == 1 for x in (most, *(factor for _, factor in factors)))


def _place(item: Number | Timer | Bank, place: Any, used: list[str]) -> Place:
    if isinstance(item, Bank):
        if not isinstance(place, list):
            raise MisfitError(f"a list for {item.name!r}")
        entries: list[tuple[str | int, ...]] = []
        for time, *fields in (entry or [0] for entry in place):
            known = not item.restraint or all(isinstance(field, int) for field in fields)
            if not isinstance(time, str) or len(fields) != len(item.fields) or not known:
                raise MisfitError(f"entries of {item.name!r}, each a time and its fields")
            used += [part for part in (time, *fields) if isinstance(part, str)]
            entries.append((time, *fields))
        return tuple(entries)
    if isinstance(place, str):
        used.append(place)
        return place
    if isinstance(place, int) and (isinstance(item, Number) or place == 0):
        return place
    raise MisfitError(f"a value of {item.name!r}")


def _limit(limit: list[Any], used: list[str]) -> Limit:
    match limit:
        case [(int() | str()) as most, dict() as factors] if factors and set(factors) <= set(used):
            exact = {name: _number(factor) for name, factor in factors.items()}
            if all(exact.values()):
                return _number(most), tuple(exact.items())
    raise MisfitError("limits, each a number, then factors by the variables of the group")


def _number(value: int | str) -> int | Fraction:
    return value if isinstance(value, int) else Fraction(value)
