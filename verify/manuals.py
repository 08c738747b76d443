"""The manual's pages and the JSON Schemas (draft 2020-12) of answers, as they are shipped."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import lru_cache
from importlib.resources import files
from typing import Any

from verify.errors import UsageError

_COMMON = "common.schema.json"


def pages() -> list[str]:
    """Names of all pages."""
    return _names("manual", ".md")


def schemas() -> list[str]:
    """Names of the questions whose answers have a schema."""
    return [name for name in _names("schemas", ".schema.json") if name != "common"]


def _names(folder: str, ending: str) -> list[str]:
    found = (path.name for path in (files("verify") / folder).iterdir())
    return sorted(name.removesuffix(ending) for name in found if name.endswith(ending))


def page(name: str) -> str:
    """A page as Markdown. Raises UsageError where there is none."""
    return (files("verify") / "manual" / f"{_known(name, pages())}.md").read_text("utf-8")


def contents() -> str:
    """The list of pages, each with its first sentence, as Markdown."""
    rows = [f"- `{name}`: {page(name).split(chr(10))[2]}" for name in pages()]
    return "\n".join(["# fewwire manual QUESTION", "", *rows, ""])


def schema_of(name: str | None) -> dict[str, Any]:
    """A schema by itself: what it takes from the common file is among its ``$defs``.

    Raises UsageError where there is none.
    """
    if name is None:
        allowed = f"with one of {', '.join(schemas())}"
        raise UsageError(f"--schema: found no question beside it; allowed: {allowed}")
    found = _read(f"{_known(name, schemas())}.schema.json")
    taken: dict[str, Any] = {}
    _bundle(found, taken)
    return {**found, "$defs": taken} if taken else found


def _known(name: str, known: list[str]) -> str:
    if name not in known:
        raise UsageError(f"manual: found '{name}'; allowed: {', '.join(known)}")
    return name


@lru_cache
def _text(name: str) -> str:
    return (files("verify") / "schemas" / name).read_text("utf-8")


def _read(name: str) -> dict[str, Any]:
    read: dict[str, Any] = json.loads(_text(name))
    return read


def _bundle(schema: dict[str, Any], taken: dict[str, Any]) -> None:
    """Point references to other files into ``$defs``, and take there what they point to."""
    for place in _places(schema):
        file, _, path = place["$ref"].partition("#/$defs/")
        if not file and path:
            file = _COMMON
        key = path or file.removesuffix(".schema.json")
        place["$ref"] = f"#/$defs/{key}"
        if key not in taken:
            other = _read(file)
            taken[key] = other["$defs"][path] if path else other
            for name in ("$schema", "$id"):
                taken[key].pop(name, None)
            _bundle(taken[key], taken)


def _places(schema: Any) -> Iterator[dict[str, Any]]:
    if isinstance(schema, dict):
        if isinstance(schema.get("$ref"), str):
            yield schema
        for value in schema.values():
            yield from _places(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from _places(value)
