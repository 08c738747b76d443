"""Templates of reports, as they are shipped beside this module."""

from __future__ import annotations

from importlib.resources import files

from jinja2 import Environment, StrictUndefined


def source(name: str) -> str:
    """The text of a file in ``verify/reports/page``."""
    return (files("verify.reports") / "page" / name).read_text("utf-8")


def environment(*, html: bool) -> Environment:
    """``html``: what is put in is escaped unless marked as safe."""
    return Environment(autoescape=html, undefined=StrictUndefined, keep_trailing_newline=True)
