"""Schemes in Python files that are put together wrongly: one clear line, and no engine asked."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from verify.cli import main
from verify.errors import LinkFileError
from verify.linkfile import load
from verify.manuals import page
from verify.parts.proper import check_scheme

LINKS = Path(__file__).parent.parent / "models" / "links"

GOOD = """\
from dataclasses import dataclass, field

from verify.language import expressions as ex
from verify.language.machine import Each, First, Machine, Rule
from verify.language.state import Bank, Number, Signal, Timer, flag
from verify.parts.scheme import Scheme
from verify.parts.signals import *

@dataclass(frozen=True)
class Marks(Scheme):
    width: tuple
    longest: int = 12

    @property
    def inputs(self): return len(self.width)
    def per_input(self): return {"width": self.width}
    def settings(self): return {"longest": self.longest}

    def transmitter(self):
        high = Timer("sender.high", max(self.width))
        p = PRESS.occurrence("p")
        mark = (high.start(ex.Lookup(self.width, p["input"])), line_rise(0).emit())
        return (Machine("sender", (high,), (
            Rule("over", high.expires(), (line_fall(0).emit(),)),
            Each(PRESS, "p", (Rule("mark", ~high.running() & ~high.expires(), mark),)),
        )),)

    def receiver(self, branch, delay=0):
        name = f"receiver{branch}"
        clock = Timer(f"{name}.clock", self.longest)
        found = ex.Find(tuple((w, w) for w in self.width), ex.Constant(self.longest) - clock.left)
        known = far_fall(0, branch).happens() & (found >= 0)
        return (Machine(name, (clock,), (
            Rule("rise", far_rise(0, branch).happens(), (clock.start(self.longest),)),
            Rule("fall", known, (decoded(branch).emit(found),)),
        )),)

def scheme(inputs, tables):
    return Marks(tables["width"])
"""
LINK = """
tick = "10 ms"
[inputs]
count = 2
[link]
scheme = "own"
python = "marks.py"
tables.width = [4, 8]
[line]
branches = [0, 0, 0]
[operator]
spacing = 15
"""


def ask(folder: Path, code: str, *command: str) -> Result:
    (folder / "marks.py").write_text(code)
    (folder / "marks.toml").write_text(LINK)
    words = [*(command or ("check", "--quiet")), str(folder / "marks.toml"), "--allow-code"]
    return CliRunner().invoke(main, words)


def changed(old: str, new: str) -> str:
    assert GOOD.count(old) == 1, old
    return GOOD.replace(old, new)


def test_what_is_changed_below_is_right_as_it_is(tmp_path: Path) -> None:
    assert (ask(tmp_path, GOOD).stdout, ask(tmp_path, GOOD).exit_code) == ("holds\n", 0)


BAD = [
    # what it says of itself
    ("@dataclass(frozen=True)", "@dataclass", "a class Marks that is no frozen dataclass"),
    ("    longest: int = 12", "    longest: int = field(default=12, repr=False)", "Marks.longest"),
    ('Marks(tables["width"])', 'Marks(list(tables["width"]))', "that may change"),
    ('Marks(tables["width"])', 'Marks(tables["width"] + (object(),))', "no text of its own"),
    ("return len(self.width)", "return 2.0", "inputs that is 2.0; allowed: a whole number, 1"),
    ("    def per_input", "    lines = 0\n    def per_input", "lines that is 0; allowed: a whole"),
    ("    def per_input", "    queue = 3\n    def per_input", "queue that is 3; allowed: None"),
    (
        "    def per_input",
        "    offset_reach = 3\n    def per_input",
        "offset_reach that is 3; allowed: no such name without a field offset",
    ),
    ("    def per_input", "    at_any_step = 3\n    def per_input", "at_any_step that is 3"),
    (
        "    def per_input",
        "    def unqueued(self): return 3\n    def per_input",
        "unqueued() that is 3; allowed: a scheme",
    ),
    ('{"width": self.width}', '{"width": (4,)}', "per_input() that is {'width': (4,)}"),
    ('{"longest": self.longest}', "[1]", "settings() that is [1]; allowed: a dict"),
    (
        "    def settings",
        "    def split(self): return ((self, (0,)),)\n    def settings",
        "split() that is",
    ),
    (
        "    def settings",
        "    def delays(self): return {'middle': (1, 2)}\n    def settings",
        "delays() that is 'middle'",
    ),
    # which machines there are
    (
        '        return (Machine("sender"',
        '        return [1], (Machine("sender"',
        "a tuple of mach",
    ),
    ('name = f"receiver{branch}"', 'name = "receiver"', '"receiver.clock" in receiver(0) and in'),
    ('f"{name}.clock"', '"sender.high"', '"sender.high" in transmitter() and in receiver(0)'),
    ('f"{name}.clock"', '"monitor0.due"', "a name that no other part of a link has"),
    (
        'name = f"receiver{branch}"',
        'name = f"receiver{branch}"; object.__setattr__(self, "longest", self.longest + 1)',
        "receiver(0) that makes other machines each time",
    ),
    # what they hear and say
    ("line_fall(0).emit()", "line_fall(1).emit()", 'transmitter() that emits "line1.fall"'),
    ("line_fall(0).emit()", "decoded(0).emit(0)", 'transmitter() that emits "decoded0"'),
    ("decoded(branch).emit(found)", "strike(branch).emit(found)", 'that emits "strike0"'),
    ("decoded(branch).emit(found)", "decoded(0).emit(found)", 'receiver(1) that emits "decoded0"'),
    ("far_rise(0, branch)", "far_rise(1, branch)", 'listens to "line1.branch0.rise"'),
    ("far_rise(0, branch)", "PRESS", 'receiver(0) that listens to "press"'),
    ("Each(PRESS,", "Each(RELEASE,", "and watches_release that is False"),
    ("(found >= 0)", '(Timer("sender.high", 8).left > 0)', 'looks at "sender.high"'),
    # the language
    ("(found >= 0)", "(found >= True)[0]", "code that fails in line 32 (TypeError"),
    ("known, (decoded", "far_fall(0, branch).happens() and True, (decoded", "needs no trigger"),
    ("~high.running() & ~high.expires(), mark", "True, mark", 'rule "mark": True in place of a t'),
    ("~high.running() & ~high.expires(), mark", "high.left, mark", "in place of a truth value"),
    ("(line_fall(0).emit(),)", "[line_fall(0).emit()]", "in place of statements"),
    ("(line_fall(0).emit(),)", "(line_fall(0),)", "a statement of the language"),
    ('ex.Lookup(self.width, p["input"])', "ex.Lookup((), ex.Constant(0))", "with () as its table"),
    ('ex.Lookup(self.width, p["input"])', 'ex.Field("q", 0)', 'number 0 of "q" is looked at'),
    ('ex.Lookup(self.width, p["input"])', "2.5", "2.5 in place of a number"),
    ("(w, w) for w", "(w - 5, w) for w", "no two of which share a number"),
    ("emit(found)", "emit(found, 1)", '"decoded0" is given 2 numbers; allowed: 1'),
    # bounds
    ("clock.start(self.longest)", "clock.start(13)", '"receiver0.clock" is started for 13'),
    ("clock.start(self.longest)", "clock.start(-1)", "is started for -1; allowed: 0 to 12"),
    ("emit(found)", "emit(found + 2)", "is emitted with 2 to 3; allowed: 0 to 1"),
    ("max(self.width))", "0)", 'a timer "sender.high" of at most 0 ticks; allowed: 1 or more'),
    ('p["input"])', 'p["input"] + 2)', "a table is looked up at 2 to 3; allowed: 0 to 1"),
]


@pytest.mark.parametrize(("old", "new", "words"), BAD)
def test_what_is_wrong_is_said_in_one_line(old: str, new: str, words: str, tmp_path: Path) -> None:
    found = ask(tmp_path, changed(old, new))

    assert (found.exit_code, found.stdout) == (2, ""), found.output
    assert found.stderr.count("\n") == 1
    assert found.stderr.startswith(f"fewwire: {tmp_path}/marks.toml: link.python: found ")
    assert words in found.stderr


@pytest.mark.parametrize("engine", ["auto", "explorer", "zones", "simulator"])
def test_bounds_that_are_left_in_some_state_are_no_traceback(engine: str, tmp_path: Path) -> None:
    late = changed("max(self.width))", "6)")
    found = ask(tmp_path, late, "check", "--engine", engine)
    assert (found.exit_code, found.stdout) == (2, "")
    assert found.stderr == (
        f"fewwire: {tmp_path}/marks.toml: 'sender.high' started with 8; allowed: 0 to 6\n"
    )
    for step, index in (("+ 1", 2), ("- 1", -1)):
        found = ask(
            tmp_path, changed('p["input"])', f'p["input"] {step})'), "check", "--engine", engine
        )
        assert (found.exit_code, found.stdout) == (2, "")
        assert f"marks.toml: a table is looked up at {index}; allowed: 0 to 1" in found.stderr


@pytest.mark.parametrize("command", ["spacing", "summary"])
def test_code_that_fails_when_an_engine_asks_it_is_no_traceback(
    command: str, tmp_path: Path
) -> None:
    third = changed('name = f"receiver{branch}"', 'name = f"receiver{branch}"; (1, 1)[branch]')
    found = ask(tmp_path, third, command)

    assert (found.exit_code, found.stderr.count("\n")) == (2, 1), found.output
    assert f"{tmp_path}/marks.py: found code that fails in line 29 (IndexError" in found.stderr


def shipped() -> Iterator[Path]:
    for path in sorted(LINKS.glob("*.toml")):
        try:
            load(path)
        except LinkFileError:
            continue  # a file of another kind
        yield path


@pytest.mark.parametrize("path", list(shipped()), ids=lambda path: path.stem)
def test_nothing_is_wrong_with_the_schemes_that_are_shipped(path: Path) -> None:
    check_scheme(load(path).scheme)


def test_the_manual_names_the_rules() -> None:
    text = page("own_machines")
    for word in ("frozen dataclass", "watches_release", "decoded", "misframed", "SHA-256"):
        assert word in text
