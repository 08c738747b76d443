"""Files and names that nobody means well with, or that something damaged: one line, in bounded
time and memory, and what is written is whole or not there."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.cli import main
from verify.design.trail import Trail
from verify.engines.answer import Budget, Progress
from verify.errors import FewwireError, LinkFileError, UsageError
from verify.files import check_writable
from verify.linkfile import load, parse, read, toml_of
from verify.pressfile import parse_presses
from verify.questions.certify import certified
from verify.questions.judging import Subject, judge
from verify.questions.kept import Kept, _sum, keeping
from verify.questions.table import judge_table
from verify.recheck.certificate import certificate_of, text_of
from verify.recordings.formats import open_recording, trace_text
from verify.recordings.recording import signals_of
from verify.sweeps.cells import find, link_of, task
from verify.sweeps.file import load_sweep
from verify.sweeps.journal import Journal
from verify.wordfile import parse_words

LINKS = Path(__file__).parent.parent / "models" / "links"
CARILLON = load(LINKS / "carillon.toml")


def ask(*words: str) -> tuple[int, str]:
    """Exit status, and the one line of an error."""
    result = CliRunner().invoke(main, list(words))
    assert isinstance(result.exception, SystemExit | None), result.exception
    assert result.exit_code in (0, 1, 2, 3)
    if result.exit_code == 2:
        (line,) = result.stderr.splitlines()
        assert line.isprintable()
        return 2, line
    return result.exit_code, ""


# -- link files ----------------------------------------------------------------------------

NS = 'tick = "1 ns"\n'
GAPS = '[link]\nscheme = "pulse-gap"\ngaps = [1000000000, 2000000000]\npulse = 1000000\n'
WIRES = '[inputs]\ncount = 2\n[link]\nscheme = "wire-per-input"\n'
CODES = '[inputs]\ncount = 3\n[link]\nscheme = "parallel-code"\nsettle = 1000000001\n'
FRAMES = '[inputs]\ncount = 3\n[link]\nscheme = "framed-serial"\nbit = 1000000000\n'
SCAN = '[inputs]\ncount = 3\n[link]\nscheme = "synced-scan"\nslot = 1000000000\n'


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(NS + GAPS, id="gaps"),
        pytest.param(NS + WIRES + "[line]\ndelay = [1000000000, 2000000000]", id="delay"),
        pytest.param(NS + WIRES + "[line]\njitter = 1000000000000", id="jitter"),
        pytest.param(NS + CODES + "[line]\nskew = 1000000000", id="skew"),
        pytest.param(NS + SCAN + "[clock]\noffset = 400000000", id="offset"),
        pytest.param(NS + 'start = "any"\n' + FRAMES, id="start"),
        pytest.param(NS + 'start = "any"\n' + GAPS, id="start of gaps"),
        pytest.param(NS + "pause = 100_000\n" + FRAMES, id="pause", marks=pytest.mark.slow),
    ],
)
def test_times_of_a_billion_ticks_end_in_time(tmp_path: Path, text: str) -> None:
    path = tmp_path / "far.toml"
    path.write_text(text)

    assert ask("check", str(path), "--time", "0.2")[0] == 3


def test_a_pause_is_no_longer_than_can_be_tried(tmp_path: Path) -> None:
    path = tmp_path / "far.toml"
    path.write_text(NS + "pause = 1000000000\n" + FRAMES)

    assert ask("check", str(path)) == (
        2,
        f"fewwire: {path}: pause: found 1000000000; allowed: at most 100000 ticks: every length "
        "is tried; a coarser tick has fewer",
    )


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["pulse-gap", "parallel-code"])
def test_a_hundred_thousand_inputs_end_in_time(tmp_path: Path, scheme: str) -> None:
    path = tmp_path / "wide.toml"
    gaps = f"gaps = {list(range(2, 200_002, 2))}\n" if scheme == "pulse-gap" else ""
    path.write_text(f'tick = "1 s"\n[inputs]\ncount = 100000\n[link]\nscheme = "{scheme}"\n{gaps}')

    assert ask("check", str(path), "--time", "1")[0] == 3


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (".".join("a" * 20_000) + " = 1", "a key of more than 64 parts in line 1"),
        (f"\n[{' . '.join('a' * 65)}]", "a key of more than 64 parts in line 2"),
        (NS + f'name = "{"x" * 1001}"\n' + GAPS, "at most 1000 characters"),
        ("a = " + "{b = " * 100_000, "brackets nested too deeply"),
        (NS + GAPS + "[operator]\nspacing = " + "1" * 4000, "of very many digits"),
        (NS + GAPS + "[operator]\nspacing = 1e999", "found inf"),
        (NS + GAPS + "[clock]\nrate = [nan, 1e-999999999]", "clock.rate: found [nan, 0.0]"),
        (NS + GAPS + "[clock]\nrate = 1e999999999", "clock.rate: found inf"),
        ("tick = '1 \0s'", "invalid character '\\x00'"),
    ],
)
def test_odd_link_files_are_refused_in_one_line(text: str, told: str) -> None:
    with pytest.raises(LinkFileError) as error:
        parse(text, "x.toml")
    assert told in str(error.value)
    assert str(error.value).isprintable()


def test_a_key_of_as_many_parts_as_may_be_is_read() -> None:
    with pytest.raises(LinkFileError, match="found an unknown key"):
        parse(NS + GAPS + f"[line]\n{'.'.join('a' * 64)} = 1", "x.toml")


def test_what_has_no_end_is_read_no_further_than_allowed(tmp_path: Path) -> None:
    path = tmp_path / "zero.toml"
    path.symlink_to("/dev/zero")

    for words in (["check"], ["table"], ["schedule", str(LINKS / "carillon.toml")], ["recheck"]):
        status, line = ask(*words, str(path))
        assert status == 2
        assert "megabytes" in line
    with pytest.raises(LinkFileError, match="more than 0 megabytes"):
        read(LINKS / "carillon.toml", most=10)


# -- recordings ----------------------------------------------------------------------------

HEAD = (
    "$timescale 1 ms $end\n$scope module link $end\n$var wire 1 ! line $end\n$upscope $end\n"
    "$enddefinitions $end\n"
)
CSV = "tick,signal,value\n"
JSON = '{"signals": ["line"], "events": [{"tick": 0, "signal": "line", "value": 1}]}'


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("vcd", HEAD + "#-5\n1!\n", "a.vcd:6: found text that is not VCD"),
        ("vcd", HEAD + "#5\nq!\n#9\n1!\n", "a.vcd:7: found text that is not VCD"),
        ("vcd", HEAD.replace("1 ms", "0 ms"), "found a timescale of 0 ms"),
        ("vcd", HEAD.replace("1 ms", "1 zs"), "found a timescale of 1 zs"),
        ("vcd", HEAD.replace("1 ! line", "1000000000 ! line"), "of 1000000000 bits"),
        ("vcd", HEAD + "#" + "9" * 5000, "a number of too many digits"),
        ("vcd", HEAD + "#" + "9" * 400 + "\n1!\n", "found a later time"),
        ("vcd", "$date " + "x" * 1_200_000, "1048576 characters without white space"),
        ("vcd", HEAD + "b" + "1" * 1_200_000, "1048576 characters without white space"),
        ("vcd", "$timescale 1 ms $end" + "\n$scope module a $end" * 1001, "at most 1000"),
        ("vcd", HEAD.replace(" line", " %00%0a"), 'among 1: "link.\\x00\\n"'),
        ("vcd", "\ufeff\0", "not VCD"),
        ("csv", CSV + "1e999,line,1\n2,line,0\n", 'found tick "1e999"'),
        ("csv", CSV + "nan,line,1\n2,line,0\n", 'found tick "nan"'),
        ("csv", CSV + "9" * 5000 + ",line,1\n2,line,0\n", "found tick"),
        ("csv", CSV + '"' + "x\n" * 100_000, "field larger than field limit"),
        ("csv", CSV + "0,\0,1\n1,line,1\n", 'found signal "\\x00"'),
        ("csv", "," * 100_000, 'found column ""'),
        ("json", JSON.replace("0", "9" * 5000), "a number of too many digits"),
        ("json", JSON.replace("0", "9" * 4000), "found events[0].tick: a later time"),
        ("json", JSON.replace("0", "1e999"), "events[0].tick: inf"),
        ("json", JSON.replace("0", "NaN"), "events[0].tick: nan"),
        ("json", '{"a":' * 100_000, "nested too deeply"),
        ("json", JSON.replace('"line", "v', '"\\ud800\\u001b", "v'), '"\\ud800\\x1b"'),
    ],
)
def test_odd_recordings_are_refused_in_one_line(
    tmp_path: Path, name: str, text: str, told: str
) -> None:
    path = tmp_path / f"a.{name}"
    path.write_text(text)

    status, line = ask("replay", str(LINKS / "carillon.toml"), str(path))

    assert status == 2
    assert told in line


def test_byte_order_marks_and_line_ends_are_no_matter(tmp_path: Path) -> None:
    for name, text in (("csv", CSV + "0,line,1\n4,line,0\n"), ("json", JSON), ("vcd", HEAD)):
        path = tmp_path / f"a.{name}"
        mark = "" if name == "vcd" else "\ufeff"
        path.write_bytes((mark + text).replace("\n", "\r\n").encode())
        assert ask("replay", str(LINKS / "carillon.toml"), str(path))[0] == 0


# -- anything at all -----------------------------------------------------------------------


SWEEP = """link = "link.toml"
ask = "spacing"
time = 3
[grid]
link.pulse = [1, 2, 3]
line.delay = ["50 ms", 0]
"""


def sweep_in(folder: Path) -> Path:
    (folder / "link.toml").write_bytes((LINKS / "carillon.toml").read_bytes())
    (folder / "sweep.toml").write_text(SWEEP)
    return folder / "sweep.toml"


def written_journal(folder: Path) -> bytes:
    sweep = load_sweep(sweep_in(folder))
    with Journal(str(folder / "journal"), sweep) as journal:
        for cell in (1, 2, 5):
            journal.add(find(task(sweep, cell)))
    return (folder / "journal").read_bytes()


def kept_file(path: Path) -> bytes:
    """Answers that hold and fail, a search that was cut, lone presses, tables."""
    with keeping(str(path), "a link") as kept:
        for name in ("puppet_theatre", "carillon"):
            judge(Subject(load(LINKS / f"{name}.toml")), "zones", Progress())
        rated = CARILLON.with_operator()
        rated = replace(rated, clock=replace(rated.clock, rate=(Fraction(0), Fraction(1, 100))))
        Subject(rated, budget=Budget(20))
        kept.keep_search("cut", {"states": 7, "nodes": [[0, [[0]]]]})
        kept.keep_tables({"ended": [["a", 3, [1, 4]]], "cut": ["b", [2, 0], 7, None]})
    return path.read_bytes()


def read_kept(path: Path, *, signed: bool) -> None:
    """``signed``: whoever spoilt it made its sum anew."""
    if signed:
        with suppress(ValueError, RecursionError):
            found = json.loads(path.read_bytes())
            if isinstance(found, dict):
                names = ("answers", "searches", "tables", "lones")
                found["sum"] = _sum(*(found.get(name) for name in names))
                path.write_text(json.dumps(found))
    kept = Kept(str(path), "a link")
    for key in kept.answers:
        kept.answer(key)
    for key in kept.lones:
        kept.lone(key)
    for key in kept.searches:
        kept.far(key)
    Trail(kept.tables)


def ask_kept(path: Path) -> None:
    """Ask what is kept, of whoever spoilt it and made its sum anew."""
    read_kept(path, signed=True)
    with keeping(str(path), "a link"):
        judge(Subject(load(LINKS / "puppet_theatre.toml")), "zones", Progress(), budget=Budget(9))


def read_journal(path: Path) -> None:
    with Journal(str(path), load_sweep(sweep_in(path.parent))):
        pass


def read_sweep(path: Path) -> None:
    sweep_in(path.parent)
    sweep = load_sweep(path)
    for cell in (1, sweep.cells):
        link_of(sweep, cell)


@cache
def good(kind: str) -> bytes:
    if kind == "link":
        return (LINKS / "second_marks.toml").read_bytes()
    if kind == "words":
        return (LINKS / "morse.toml").read_bytes()
    if kind == "presses":
        return (LINKS / "carillon_tune.csv").read_bytes()
    if kind == "own machines":
        return (LINKS / "biphase_mark_18.toml").read_bytes()
    if kind == "codes":
        return (LINKS / "stage_lamps.toml").read_bytes()
    if kind == "sweep":
        return SWEEP.encode()
    with TemporaryDirectory() as folder:
        if kind == "journal":
            return written_journal(Path(folder))
        if kind.startswith("kept"):
            return kept_file(Path(folder) / "kept")
    puppets = LINKS / "puppet_theatre.toml"
    subject = Subject(load(puppets))
    judged = judge(subject, "auto", Progress(), budget=Budget(20))
    if kind == "certificate":
        text = puppets.read_text("utf-8")
        return text_of(certified(subject, text, judged, Budget(20), Progress())).encode()
    assert judged.trace is not None
    return trace_text(judged.trace, subject.link, kind).encode()


def held(kind: str) -> Callable[[str, Path], object]:
    """What reads a file of the kind, as text or from a path."""
    known = signals_of(load(LINKS / "puppet_theatre.toml"))

    def recorded(_: str, path: Path) -> object:
        opened = open_recording(str(path), known.every, Fraction(1, 20))
        return list(opened.rows(lambda line, what: None))

    return {
        "link": lambda text, _: parse(text, "x"),
        "words": lambda text, _: parse_words(toml_of(text, "x"), "x", "x"),
        "presses": lambda text, _: parse_presses(text, "x", CARILLON.names, CARILLON.tick),
        "certificate": lambda text, _: certificate_of(text, "x"),
        "own machines": lambda text, _: parse(text, "x"),
        "codes": lambda _, path: judge_table(path),
        "sweep": lambda _, path: read_sweep(path),
        "journal": lambda _, path: read_journal(path),
        "kept": lambda _, path: read_kept(path, signed=False),
        "kept and asked": lambda _, path: ask_kept(path),
        "kept and signed": lambda _, path: read_kept(path, signed=True),
    }.get(kind, recorded)


@st.composite
def spoilt(draw: st.DrawFn, whole: bytes) -> bytes:
    """A good file in which something is cut, doubled or put in; or no good one at all."""
    if draw(st.integers(0, 5)) == 0:
        return draw(st.binary(max_size=60))
    found = whole
    for _ in range(draw(st.integers(1, 3))):
        start = draw(st.integers(0, len(found)))
        end = min(len(found), start + draw(st.integers(0, 30)))
        odd = [b"", b"\0", b"\xff", b"\xef\xbb\xbf", b"\r\n", b"9" * 5000, b"1e999", b"-1", b"nan"]
        odd += [b"[" * 300, b'"', b"{", b"#", b"$end", b",", b"=", b"\x1b[31m", b"\xd9\xa1"]
        put = draw(st.sampled_from([*odd, found[start:end] * 2]))
        found = found[:start] + put + found[end:]
    return found


@pytest.mark.parametrize(
    "kind",
    [
        *("link", "words", "presses", "certificate", ".vcd", ".csv", ".json", "own machines"),
        *("codes", "sweep", "journal", "kept", "kept and signed"),
    ],
)
def test_whatever_stands_in_a_file_it_is_read_or_refused_in_one_line(kind: str) -> None:
    reads = held(kind)

    @given(spoilt(good(kind)))
    @settings(max_examples=60)
    def one_line(data: bytes) -> None:
        with TemporaryDirectory() as folder:
            path = Path(folder) / f"a{kind}"
            path.write_bytes(data)
            said = ""
            try:
                by_path = kind.startswith((".", "kept", "journal"))
                reads("" if by_path else read(path)[0], path)
            except FewwireError as error:
                said = str(error)
        assert said.isprintable()

    one_line()


ODD = st.sampled_from(
    [None, True, -1, 0, 1 << 70, 1.5, "", "1/0", "-3", "9" * 5000, "\ud800", [], [[]], {}, {"a": 1}]
)


@st.composite
def other_leaf(draw: st.DrawFn, whole: bytes) -> bytes:
    """A good file of JSON in which one value is another."""
    document = json.loads(whole)
    at = document
    while True:
        keys = list(at) if isinstance(at, dict) else list(range(len(at)))
        key = draw(st.sampled_from(keys))
        below = at[key]
        if not isinstance(below, dict | list) or not below or draw(st.integers(0, 5)) == 0:
            at[key] = draw(ODD)
            return json.dumps(document).encode()
        at = below


@pytest.mark.parametrize("kind", ["kept", "kept and signed", "kept and asked", "certificate"])
def test_whatever_value_stands_in_a_file_it_is_read_or_refused_in_one_line(kind: str) -> None:
    reads = held(kind)

    @given(other_leaf(good(kind)))
    @settings(max_examples=60)
    def one_line(data: bytes) -> None:
        with TemporaryDirectory() as folder:
            path = Path(folder) / "a.json"
            path.write_bytes(data)
            said = ""
            try:
                reads(data.decode(), path)
            except FewwireError as error:
                said = str(error)
        assert said.isprintable()

    one_line()


def test_a_journal_that_has_no_end_is_not_read(tmp_path: Path) -> None:
    sweep = load_sweep(sweep_in(tmp_path))
    (tmp_path / "zero").symlink_to("/dev/zero")
    (tmp_path / "long").write_bytes(b"")
    os.truncate(tmp_path / "long", 1 << 40)
    (tmp_path / "deep").write_bytes(b"[" * 200_000 + b"\n")

    for name, told in [("zero", "a device"), ("long", "more than 6 cells"), ("deep", "line 1")]:
        with pytest.raises(UsageError, match=told), Journal(str(tmp_path / name), sweep):
            pass
    assert (tmp_path / "long").stat().st_size == 1 << 40


# -- what is written -----------------------------------------------------------------------


def test_output_names_are_written_whole_or_not_at_all(tmp_path: Path) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "here.json").write_text("old")
    (inside / "link.json").symlink_to(tmp_path / "here.json")
    (inside / "nowhere.json").symlink_to(tmp_path / "missing" / "x")
    os.mkfifo(inside / "pipe.json")
    before = sorted(path.name for path in inside.iterdir())

    def status(out: str, *more: str) -> tuple[int, str]:
        return ask("check", str(LINKS / "carillon.toml"), "--certificate", out, *more)

    for out, told in [
        (f"{inside}/../here.json", "a file of that name"),
        (f"{inside}/link.json", "a file of that name"),
        (f"{inside}/nowhere.json", "a file of that name"),
        (str(inside), "a directory"),
        (f"{inside}/", "a directory"),
        (f"{inside}/no/x.json", "no such directory"),
        (f"{tmp_path}/here.json/x", "no such directory"),
        (f"{inside}/a\nb/x", "a\\nb/x: found no such directory"),
        (f"{inside}/{'x' * 300}", "file name too long"),
        ("", '""'),
    ]:
        code, line = status(out)
        assert code == 2, out
        assert told in line
    for out in ("/dev/null", "/dev/full", f"{inside}/pipe.json"):
        assert status(out, "--force")[1].count("found a device or pipe") == 1
    assert sorted(path.name for path in inside.iterdir()) == before
    assert (tmp_path / "here.json").read_text() == "old"

    # With --force the link itself gives way; what it led to stays.
    assert status(f"{inside}/link.json", "--force")[0] == 0
    assert not (inside / "link.json").is_symlink()
    assert (tmp_path / "here.json").read_text() == "old"
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(inside)
        assert status("-odd.json")[0] == 0
    assert json.loads((inside / "-odd.json").read_text())["verdict"] == "holds"


def test_where_there_is_no_room_nothing_is_left_behind(tmp_path: Path) -> None:
    code = (
        "import resource, sys\n"
        "from verify.files import write_whole\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))\n"
        "from verify.errors import UsageError\n"
        "try:\n    write_whole(sys.argv[1], 'x' * 100_000, overwrite=True)\n"
        "except UsageError as error:\n    print(error)\n"
    )
    path = tmp_path / "a.json"
    path.write_text("old")

    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )

    assert done.stdout == f"{path}: found file too large; allowed: a place to write to\n"
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


WRITER = """
import sys
from verify.errors import UsageError
from verify.files import write_whole
path, text, overwrite = sys.argv[1], sys.argv[2] * 300_000, sys.argv[3] == "True"
written = 0
for _ in range(150):
    try:
        write_whole(path, text, overwrite=overwrite)
        written += 1
    except UsageError:
        pass
print(written)
"""


@pytest.mark.parametrize("overwrite", [True, False])
def test_of_two_that_write_one_file_one_is_there_whole(tmp_path: Path, overwrite: bool) -> None:
    path = tmp_path / "a.json"
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), letter, str(overwrite)],
            stdout=subprocess.PIPE,
            text=True,
        )
        for letter in "ab"
    ]
    seen = set()
    while any(writer.poll() is None for writer in writers):
        if path.exists():
            seen.add(path.read_text())
        time.sleep(0.01)
    written = [int(writer.communicate()[0]) for writer in writers]

    assert seen | {path.read_text()} <= {"a" * 300_000, "b" * 300_000}
    assert written == [150, 150] if overwrite else sum(written) == 1
    assert os.listdir(tmp_path) == ["a.json"]


def test_what_will_not_be_written_is_told_before_the_work(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name in ("pipe", ".", "no/x"):
        with pytest.raises(UsageError):
            check_writable(str(tmp_path / name), overwrite=True)
