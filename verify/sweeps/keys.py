"""Keys of link files, as a sweep names them: dotted, entries of lists counted from 0."""

from __future__ import annotations

import re
from typing import Any

from models.parameters import KNOWN as SCHEMES
from verify.errors import LinkFileError
from verify.fields import UNKNOWN, Finding, Key, did_you_mean, key_text, number_of_entries
from verify.linkfile import TABLES, Top

_ALLOWED = 'a key of a link file, dotted, like "link.pulse" or "link.gaps[0]"'
_PART = re.compile(r"([A-Za-z0-9_-]+)((?:\[[0-9]{1,6}\])*)")


def key_of(text: str, place: Key) -> Key | Finding:
    """The parts of a key, or what is wrong with it; ``place``: where it stands."""
    key: list[str | int] = []
    for part in text.split("."):
        match = _PART.fullmatch(part)
        if match is None:
            return Finding(place, _ALLOWED, "no such key")
        key.append(match[1])
        key += [int(number) for number in re.findall(r"[0-9]+", match[2])]
    known = _known(key[:1])
    for k, name in enumerate(key[:2]):
        if known is not None and name not in known:
            where = f" in [{key[0]}]" if k else ""
            return Finding(place, f"{_ALLOWED}{did_you_mean(name, known)}", UNKNOWN + where)
        known = _known(key[: k + 2])
    return tuple(key)


def _known(key: list[str | int]) -> list[str] | None:
    """What the last part may be; None for anything."""
    if len(key) < 2:
        return list(Top.model_fields)
    if key[0] == "link":
        return list(dict.fromkeys(name for kind in SCHEMES.values() for name in kind.model_fields))
    table = TABLES.get(str(key[0]))
    return None if table is None else list(table.model_fields)


def put(document: dict[str, Any], key: Key, value: object, source: str) -> None:
    """Change a key of a link file's tables, in place; tables that are not there are made.

    Raises LinkFileError where something else stands in the way.
    """
    *way, last = key
    place: Any = document
    for k, part in enumerate(way):
        _step(place, key[: k + 1], key, source)
        place = place[part] if isinstance(part, int) else place.setdefault(part, {})
    _step(place, key, key, source)
    place[last] = value


def _step(place: Any, here: Key, key: Key, source: str) -> None:
    part = here[-1]
    where, whole = key_text(here[:-1]), key_text(key)
    if isinstance(part, int):
        if not isinstance(place, list) or part >= len(place):
            found = number_of_entries(place) if isinstance(place, list) else "no list"
            raise LinkFileError(source, where, found, f"a list that has {whole}")
    elif not isinstance(place, dict):
        raise LinkFileError(source, where, "no table", f"a table, to change {whole}")


def leave_out(document: dict[str, Any], key: Key) -> None:
    """Take a key from a link file's tables, in place; it need not be there."""
    *way, last = key
    place: Any = document
    for part in way:
        place = place.get(part) if isinstance(place, dict) else None
    if isinstance(place, dict):
        place.pop(last, None)
