"""A report as a page: one file that needs nothing else, from disk or on paper."""

from __future__ import annotations

import json
import re

from markupsafe import Markup

from verify.reports import mode_graph, timing_svg
from verify.reports.page_templates import environment, source
from verify.reports.palette import DARK, LIGHT, css_variables
from verify.reports.report_data import Report

PARTS = (
    ("answer", "Answer"),
    ("link", "Link"),
    ("spacing", "Spacing"),
    ("latency", "Latency"),
    ("margins", "Margins"),
    ("runs", "Runs"),
    ("modes", "Modes"),
    ("cautions", "Cautions"),
)


def report_html(report: Report) -> str:
    """The page."""
    page = environment(html=True).from_string(source("report.html"))
    return page.render(
        r={**vars(report), "sentence_rest": report.sentence_rest},
        parts=PARTS,
        noun=report.noun,
        nouns=report.nouns,
        css=_css(),
        modes=_inlined(report.modes_svg),
        drawing_of={run.key: _inlined(run.svg) for run in report.runs},
        numbers={run.key: k for k, run in enumerate(report.runs)},
        data=_json([run.as_json() for run in report.runs]),
        script=Markup(source("report.js")),
    )


def _css() -> Markup:
    text = environment(html=False).from_string(source("report.css"))
    return Markup(
        text.render(
            light=css_variables(LIGHT),
            dark=css_variables(DARK),
            drawing=f"{timing_svg.STYLE}\n{mode_graph.STYLE}",
        )
    )


def _inlined(svg: str) -> Markup:
    """A drawing within the page, which has its styles already."""
    return Markup(re.sub(r"<style>.*?</style>", "", svg, count=1, flags=re.DOTALL).strip())


def _json(data: object) -> Markup:
    """Within a script element nothing may look like its end, or like markup at all."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return Markup(text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e"))


__all__ = ["report_html"]
