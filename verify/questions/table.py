"""Judge the table of a file: gaps, codes, codes in frames, or code words."""

from __future__ import annotations

import os

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.parameters import SCHEMES
from models.parameters.judged import JUDGED
from models.pulse_gap import PulseGap
from verify.errors import UsageError
from verify.fields import did_you_mean
from verify.linkfile import parse, read, toml_of
from verify.parts.link import Link
from verify.questions.code_table import CodeAnswer, judge_codes
from verify.questions.frame_table import FrameAnswer, judge_frames
from verify.questions.gap_table import GapAnswer, judge_gaps
from verify.questions.word_table import WordAnswer, judge_words
from verify.wordfile import parse_words

TableAnswer = GapAnswer | CodeAnswer | FrameAnswer | WordAnswer


def judge_table(path: str | os.PathLike[str], pair: tuple[str, str] | None = None) -> TableAnswer:
    """The table of the file at ``path``, also one that no link could be built with.

    ``pair``: names of two inputs, for gaps: all ghosts of presses of the first and then the
    second, and of no others. Raises LinkFileError for a file that is wrong in form, UsageError
    if the question makes no sense for it.
    """
    text, source, name = read(path)
    document = toml_of(text, source)
    if "code" in document:
        if pair is not None:
            raise UsageError("--pair: found a file of code words; allowed: a pulse-gap link")
        return judge_words(parse_words(document, source, name))
    link = parse(text, source, name, {**SCHEMES, **JUDGED})
    scheme = link.scheme
    if isinstance(scheme, PulseGap):
        return judge_gaps(link, scheme, None if pair is None else _numbers(link, pair))
    if pair is not None:
        raise UsageError(f'--pair: found scheme "{link.scheme_name}"; allowed: a pulse-gap link')
    if isinstance(scheme, ParallelCode):
        return judge_codes(link, scheme)
    if isinstance(scheme, FramedSerial):
        return judge_frames(link, scheme)
    raise UsageError(
        f'{source}: link.scheme: found "{link.scheme_name}", which has no table; allowed: '
        f'"pulse-gap", "parallel-code", "framed-serial", or a file with [code] words'
    )


def _numbers(link: Link, pair: tuple[str, str]) -> tuple[int, int]:
    for name in pair:
        if name not in link.names:
            hint = did_you_mean(name, link.names)
            raise UsageError(f'--pair: found "{name}"; allowed: the name of an input{hint}')
    return link.names.index(pair[0]), link.names.index(pair[1])
