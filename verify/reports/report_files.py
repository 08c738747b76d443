"""The files of a report: a page and Markdown, in a folder of their own."""

from __future__ import annotations

import os

from verify.files import prepare_folder, write_whole
from verify.reports.report_data import Report

PAGE, TEXT = "report.html", "report.md"


def prepare(folder: str, *, overwrite: bool = False) -> None:
    """Make the folder. Raises UsageError where ``write`` would do so later."""
    prepare_folder(folder, (PAGE, TEXT), overwrite=overwrite)


def texts(report: Report) -> dict[str, str]:
    """By name of the file."""
    from verify.reports.report_html import report_html
    from verify.reports.report_markdown import report_markdown

    return {PAGE: report_html(report), TEXT: report_markdown(report)}


def write(folder: str, report: Report, *, overwrite: bool = False) -> list[str]:
    """The files, each whole or not at all; where they are."""
    made = []
    for name, text in texts(report).items():
        path = os.path.join(folder, name)
        write_whole(path, text, overwrite=overwrite)
        made.append(path)
    return made
