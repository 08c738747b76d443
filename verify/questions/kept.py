"""What has been decided so far, on disk, so that a long search can be resumed.

Kept are answers about parts of a link, decided ones only, under what decides them: the part with
its operator and disturbances, when its strikes are due, and the engine that was asked. Every
question about a link is made of such answers, so those of any question about the same file serve.

The file is JSON: ``fewwire_kept`` (1), ``program`` (SHA-256 of fewwire's own sources), ``link``
(SHA-256 of the link file), ``answers`` (key -> verdict, engine, covered, complete, and of a
failure its script; the latencies met), ``searches`` (key -> how far a search of zones was that was
cut: JSON, zlib, base64), ``tables`` (how far the searches of a design are), ``lones``
(what lone presses do, on clocks of unknown rate), ``notes`` (key -> what a question keeps in
a form of its own, and reads with care), ``sum`` (SHA-256 of all). A failure is replayed before it
is shown.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import os
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from functools import cache
from pathlib import Path
from time import monotonic
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from verify.engines import alarm
from verify.engines.answer import Answer, Delivery, Verdict
from verify.engines.checkpoint import Checkpoint, DamagedError
from verify.engines.lone import Lone
from verify.engines.search_file import SearchFile
from verify.engines.trace import Chosen, Press, Script
from verify.errors import UsageError
from verify.files import check_writable, write_whole
from verify.units import whole

# Seconds between two savings; what is decided in between is saved at the end at the latest.
SELDOM = 2.0
# Beside the file: a long search of the explorer, as it is in memory.
ROWS = ".states"
_MOST_BYTES = 256 << 20
_MOST_SEARCHES = 4
# Of a search, unpacked; a larger one is not kept.
_MOST_SEARCH = 1 << 30


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


_Whole = Annotated[int, Field(ge=-(1 << 62), le=1 << 62)]
_Natural = Annotated[int, Field(ge=0, le=1 << 62)]


class ScriptFile(_Strict):
    """A run, as it is kept."""

    presses: list[tuple[_Whole, _Natural]]
    delay: _Natural
    picks: list[tuple[_Whole, str, _Whole]]
    constants: list[tuple[str, _Whole]]
    parts: Annotated[int, Field(ge=1, le=1 << 62)]


_Ticks = Annotated[str, Field(pattern=r"^[0-9]{1,30}(/[1-9][0-9]{0,29})?$")]


class _DeliveryFile(_Strict):
    input: _Natural
    ticks: _Ticks
    script: ScriptFile


class _AnswerFile(_Strict):
    verdict: Literal["holds", "fails"]
    engine: str
    covered: str
    complete: bool
    rough: bool
    script: ScriptFile | None
    best: list[_DeliveryFile] = []
    worst: list[_DeliveryFile] = []


class _LoneFile(_Strict):
    earliest: list[_Ticks | None]
    latest: list[_Ticks | None]
    settled: list[int]
    rests: bool
    apart: int | None


class _File(_Strict):
    fewwire_kept: Literal[1]
    program: str
    link: str
    answers: dict[str, _AnswerFile]
    searches: dict[str, str] = {}
    tables: Any = None
    lones: dict[str, _LoneFile] = {}
    notes: dict[str, Any] = {}
    sum: str


class Kept:
    """The answers in a file, and those found since. Raises UsageError for a file that is no such
    file, or one of another link or version of fewwire."""

    def __init__(self, path: str, link_text: str, about: str = "link file") -> None:
        self.path, self.about = path, about
        self.program, self.link = _program(), _digest(link_text)
        self.answers: dict[str, _AnswerFile] = {}
        self.searches: dict[str, str] = {}
        self.tables: Any = None
        self.lones: dict[str, _LoneFile] = {}
        self.notes: dict[str, Any] = {}
        if os.path.lexists(path):
            self._read()
        check_writable(path, overwrite=True)
        self.resumed, self.used = len(self.answers), 0
        self._saved = monotonic()
        self._changed = False

    @property
    def told(self) -> str:
        """What was in the file, in words; empty if nothing was."""
        found = [
            f"{count} {noun}{'s' * (count != 1)}{rest}"
            for count, noun, rest in (
                (self.resumed, "answer", " about parts"),
                (len(self.notes), "note", " of whole questions"),
            )
            if count
        ]
        return ", ".join(found + ["searches under way"] * bool(self.searches))

    def answer(self, key: str) -> Answer | None:
        """What is known under a key."""
        found = self.answers.get(key)
        if found is None:
            return None
        self.used += 1
        return Answer(
            Verdict(found.verdict),
            found.engine,
            None if found.script is None else script_of(found.script),
            found.covered,
            found.complete,
            _deliveries(found.best),
            _deliveries(found.worst),
            rough=found.rough,
        )

    def note(self, key: str, answer: Answer) -> None:
        """Keep a decided answer; others are left out."""
        fails = answer.verdict is Verdict.FAILS and answer.script is not None
        if key in self.answers or not (fails or answer.verdict is Verdict.HOLDS):
            return
        self.answers[key] = _AnswerFile(
            verdict="fails" if fails else "holds",
            engine=answer.engine,
            covered=answer.covered,
            complete=answer.complete,
            rough=answer.rough,
            script=script_file(answer.script) if fails and answer.script else None,
            best=_delivery_files(answer.best),
            worst=_delivery_files(answer.worst),
        )
        self._changed = True
        if monotonic() - self._saved > SELDOM:
            self.save()

    def keep_search(self, key: str, far: Any) -> None:
        """Keep how far a search is, at once. Of several the longest are kept."""
        text = json.dumps(far, separators=(",", ":")).encode()
        if len(text) > _MOST_SEARCH:
            return
        packed = base64.b64encode(zlib.compress(text, 1)).decode()
        if len(packed) > _MOST_BYTES // (2 * _MOST_SEARCHES):
            return
        self.searches[key], self._changed = packed, True
        if len(self.searches) > _MOST_SEARCHES:
            del self.searches[min(self.searches, key=lambda one: len(self.searches[one]))]
        self.save()

    def far(self, key: str) -> Any:
        """How far the search of this key was; None if none is kept. Raises UsageError."""
        if key not in self.searches:
            return None
        try:
            unpack = zlib.decompressobj()
            text = unpack.decompress(base64.b64decode(self.searches[key]), _MOST_SEARCH)
            if unpack.unconsumed_tail or not unpack.eof:
                raise ValueError("too long, or not all there")
            return json.loads(text)
        except (ValueError, binascii.Error, zlib.error, RecursionError):
            raise self._refused("a damaged file") from None

    def lone(self, key: str) -> Lone | None:
        """What is known of lone presses."""
        found = self.lones.get(key)
        if found is None:
            return None
        earliest, latest = (
            tuple(None if ticks is None else whole(Fraction(ticks)) for ticks in each)
            for each in (found.earliest, found.latest)
        )
        return Lone(earliest, latest, tuple(found.settled), found.rests, found.apart)

    def note_lone(self, key: str, lone: Lone) -> None:
        """Keep what lone presses do."""
        if key in self.lones:
            return
        earliest, latest = (
            [None if ticks is None else str(ticks) for ticks in each]
            for each in (lone.earliest, lone.latest)
        )
        self.lones[key] = _LoneFile(
            earliest=earliest,
            latest=latest,
            settled=list(lone.settled),
            rests=lone.rests,
            apart=lone.apart,
        )
        self._changed = True
        if monotonic() - self._saved > SELDOM:
            self.save()

    def keep_tables(self, far: Any) -> None:
        """Keep how far the searches of a design are, at once."""
        self.tables, self._changed = json.loads(json.dumps(far)), True
        self.save()

    def keep_note(self, key: str, note: Any) -> None:
        """Keep what a question writes down (lists, numbers, texts), at once."""
        self.notes[key], self._changed = json.loads(json.dumps(note)), True
        self.save()

    def forget_search(self, key: str) -> None:
        """It came to its end."""
        if self.searches.pop(key, None) is not None:
            self._changed = True

    def rows(self, key: str) -> SearchFile:
        """Where a search of this key is kept that is too long for this file."""
        about = {"version of fewwire": self.program, "link file": self.link, "key": key}
        return SearchFile(self.path + ROWS, about)

    def save(self) -> None:
        """Whole, or not at all."""
        if not self._changed and os.path.lexists(self.path):
            return
        answers = {key: found.model_dump() for key, found in self.answers.items()}
        lones = {key: lone.model_dump() for key, lone in self.lones.items()}
        document = {
            "fewwire_kept": 1,
            "program": self.program,
            "link": self.link,
            "answers": answers,
            "searches": self.searches,
            "tables": self.tables,
            "lones": lones,
            "notes": self.notes,
            "sum": _sum(answers, self.searches, self.tables, lones, self.notes),
        }
        with alarm.unbroken():
            write_whole(self.path, json.dumps(document) + "\n", overwrite=True)
        self._changed, self._saved = False, monotonic()

    def _read(self) -> None:
        try:
            if os.stat(self.path).st_size > _MOST_BYTES:
                raise self._refused(f"a file of more than {_MOST_BYTES >> 20} MB")
            found = _File.model_validate_json(Path(self.path).read_bytes())
        except OSError as error:
            raise self._refused((error.strerror or "not readable").lower()) from None
        except (ValidationError, RecursionError):
            raise self._refused("what no search kept") from None
        answers = {key: answer.model_dump() for key, answer in found.answers.items()}
        lones = {key: lone.model_dump() for key, lone in found.lones.items()}
        parts = json.loads(json.dumps(answers)), found.searches, found.tables, lones, found.notes
        if found.sum != _sum(*parts):
            raise self._refused("a damaged file")
        if found.program != self.program:
            raise self._refused("the answers of another version of fewwire")
        if found.link != self.link:
            raise self._refused(f"the answers about another {self.about}")
        self.answers, self.searches = dict(found.answers), dict(found.searches)
        self.tables, self.lones = found.tables, dict(found.lones)
        self.notes = dict(found.notes)

    def _refused(self, found: str) -> UsageError:
        return UsageError(
            f"{self.path}: found {found}; allowed: a new name, or a file that --resume wrote for "
            f"this {self.about}"
        )


class _Current:
    kept: Kept | None = None


@contextmanager
def keeping(path: str, link_text: str, about: str = "link file") -> Iterator[Kept]:
    """Answers go to a file, and come from it, until the end, however that comes. ``about``: what
    ``link_text`` is."""
    kept = Kept(path, link_text, about)
    _Current.kept = kept
    try:
        yield kept
    finally:
        _Current.kept = None
        kept.save()


def key_of(*meaning: object) -> str | None:
    """The key of what is asked; None where nothing is kept, or it cannot be told by its looks."""
    if _Current.kept is None:
        return None
    words = repr(meaning)
    # An object that shows its address looks otherwise in every run.
    return None if " at 0x" in words else _digest(words)


def known(key: str | None, inputs: int) -> Answer | None:
    """What is kept under a key, about a part of so many inputs. Raises DamagedError."""
    found = None if key is None or _Current.kept is None else _Current.kept.answer(key)
    if found is None:
        return None
    deliveries = [*found.best.items(), *found.worst.items()]
    scripts = [found.script, *(delivery.script for _, delivery in deliveries)]
    pressed = [press.input for script in scripts if script for press in script.presses]
    if max([*pressed, *(i for i, _ in deliveries)], default=0) >= inputs:
        raise DamagedError
    return found


def note(key: str | None, answer: Answer) -> None:
    """Keep an answer, where there is a place for it."""
    if key is not None and _Current.kept is not None:
        _Current.kept.note(key, answer)


def known_lone(key: str | None) -> Lone | None:
    """What is kept of the lone presses of this key."""
    return None if key is None or _Current.kept is None else _Current.kept.lone(key)


def note_lone(key: str | None, lone: Lone) -> None:
    """Keep what lone presses do, where it is the solver that has to say so and there is a place."""
    if key is not None and _Current.kept is not None:
        _Current.kept.note_lone(key, lone)


def known_note(key: str | None) -> Any:
    """What a question wrote down under this key; None if nothing."""
    return None if key is None or _Current.kept is None else _Current.kept.notes.get(key)


def text_of(note: Any) -> str:
    """A note as JSON, which has no tuples: to be read strictly."""
    return json.dumps(note)


def keep_note(key: str | None, note: Any) -> None:
    """Keep what a question writes down, where there is a place for it."""
    if key is not None and _Current.kept is not None:
        _Current.kept.keep_note(key, note)


def has_search(key: str | None) -> bool:
    """A search of this key was cut, and how far it was is kept."""
    return _Current.kept is not None and key in _Current.kept.searches


def checkpoint(key: str | None) -> Checkpoint | None:
    """Where the search of this key is kept; None where none is."""
    there = _Current.kept
    if key is None or there is None:
        return None
    return Checkpoint(there.far(key), lambda far: there.keep_search(key, far), there.rows(key))


def forget_search(key: str | None) -> None:
    """The search that was kept came to its end."""
    if _Current.kept is not None and key is not None:
        _Current.kept.forget_search(key)
        _Current.kept.rows(key).forget()


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _sum(*parts: Any) -> str:
    return _digest(json.dumps(parts, sort_keys=True))


@cache
def _program() -> str:
    """Of every source file: a version's name stays the same while it is worked on."""
    import models
    import verify

    digest = hashlib.sha256()
    for package in (verify, models):
        root = Path(package.__path__[0])
        for path in sorted(root.rglob("*.py")):
            digest.update(str(path.relative_to(root)).encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def script_file(script: Script) -> ScriptFile:
    """To be kept."""
    return ScriptFile(
        presses=[(p.tick, p.input) for p in script.presses],
        delay=script.delay,
        picks=[(c.tick, c.name, c.value) for c in script.picks],
        constants=list(script.constants),
        parts=script.resolution,
    )


def _delivery_files(found: dict[int, Delivery]) -> list[_DeliveryFile]:
    return [
        _DeliveryFile(input=i, ticks=str(d.ticks), script=script_file(d.script))
        for i, d in found.items()
    ]


def _deliveries(found: list[_DeliveryFile]) -> dict[int, Delivery]:
    return {d.input: Delivery(whole(Fraction(d.ticks)), script_of(d.script)) for d in found}


def script_of(found: ScriptFile) -> Script:
    """What was kept."""
    return Script(
        tuple(Press(*press) for press in found.presses),
        found.delay,
        tuple(Chosen(*pick) for pick in found.picks),
        tuple((name, value) for name, value in found.constants),
        found.parts,
    )
