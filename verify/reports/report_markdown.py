"""A report as Markdown: the same words and figures as on the page, pictures in plain text."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from verify.reports.page_templates import environment, source
from verify.reports.report_data import Report


def report_markdown(report: Report) -> str:
    """The text."""
    texts = environment(html=False)
    texts.filters["md"] = plain
    rows = zip(report.matrix_names, report.matrix, strict=True)
    text = texts.from_string(source("report.md")).render(
        r=report,
        noun=report.noun,
        nouns=report.nouns,
        table=table,
        matrix_header=["then", *report.matrix_names],
        matrix=[[name, *(str(cell.ticks) for cell in row)] for name, row in rows],
        bars=[(bar.name, bar.best, bar.worst, bar.spread) for bar in report.bars],
    )
    # Parts that are not there leave blank lines.
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def plain(text: str) -> str:
    """Text that Markdown takes as it is."""
    return re.sub(r"([\\`*_{}\[\]<>#|~&])", r"\\\1", text)


def table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """The first column left, the others right."""
    lines = [header, ["---", *("---:" for _ in header[1:])], *rows]
    escaped = [lines[0], *lines[2:]]
    told = [f"| {' | '.join(map(plain, line))} |" for line in escaped]
    return "\n".join([told[0], f"| {' | '.join(lines[1])} |", *told[1:]])


__all__ = ["plain", "report_markdown", "table"]
