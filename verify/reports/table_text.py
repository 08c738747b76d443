"""Answers to ``table`` as people read them: the verdict, what is at fault, then the table."""

from __future__ import annotations

from verify.questions.code_table import CodeAnswer
from verify.questions.frame_table import FrameAnswer
from verify.questions.gap_table import GapAnswer
from verify.questions.table import TableAnswer
from verify.reports.table_codes_text import show_codes, show_frames
from verify.reports.table_gaps_text import show_gaps
from verify.reports.table_words_text import show_words


def show_table(found: TableAnswer) -> None:
    """Whatever kind of table it is."""
    if isinstance(found, GapAnswer):
        show_gaps(found)
    elif isinstance(found, CodeAnswer):
        show_codes(found)
    elif isinstance(found, FrameAnswer):
        show_frames(found)
    else:
        show_words(found)
