"""Make the reports of demo links anew: ``python -m verify.reports.rebuild`` in the checkout."""

from __future__ import annotations

import sys
from pathlib import Path

from verify.engines.answer import Progress
from verify.linkfile import load
from verify.questions.dossier import dossier
from verify.questions.judging import Subject
from verify.reports.report_data import Report, report_data
from verify.reports.report_files import prepare, write

DEMOS = ("carillon", "carillon_two_towers", "puppet_theatre", "ferry_bell", "lock_gates")
"""Link files whose every question is decided, so that their reports do not depend on speed."""

ROOT = Path(__file__).parent.parent.parent
# More than any of them takes.
SECONDS = 300.0


def report_of(name: str) -> Report:
    """The report of a demo link."""
    link = load(ROOT / "models" / "links" / f"{name}.toml")
    return report_data(dossier(Subject(link), "auto", Progress(), SECONDS))


def main(folder: Path = ROOT / "reports") -> None:
    """Write all of them."""
    for name in DEMOS:
        where = str(folder / name)
        prepare(where, overwrite=True)
        for path in write(where, report_of(name), overwrite=True):
            print(f"wrote {path}", file=sys.stderr)


if __name__ == "__main__":
    main()
