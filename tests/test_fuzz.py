"""Ends that are not ours: a lighthouse's keys and shutters, right, wrong and badly behaved."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from tests.links import line_faults, make_link, schemes
from verify.cli import main
from verify.engines.answer import Budget
from verify.engines.concrete import Compiled
from verify.engines.trace import Press, Script
from verify.fuzzing.bench import Bench, NotAllowedError
from verify.fuzzing.child import Child
from verify.fuzzing.target import CallableTarget, Listener, Said, TargetError, Word
from verify.linkfile import load
from verify.parts.clock import Clock
from verify.parts.foreign import ForeignEnd, hearings, sayings
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause
from verify.parts.scheme import Scheme
from verify.parts.stretch import Place, Stretch, edges_at, systems
from verify.questions.fuzz import Fuzzed, Tried, fuzz
from verify.questions.judging import Subject

TARGETS = Path(__file__).parent / "targets"
LINK = str(TARGETS / "lighthouse.toml")


def program(name: str, *arguments: str) -> str:
    """A command line for one of the demo programs."""
    words = [sys.executable, str(TARGETS / name), *arguments]
    return " ".join(f"'{word}'" for word in words)


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["fuzz", LINK, *arguments], env={"COLUMNS": "80"})


def ask_json(*arguments: str) -> dict[str, object]:
    found: dict[str, object] = json.loads(ask(*arguments, "--json").stdout)
    return found


def alive(marker: str) -> list[str]:
    """Processes with this word on their command line, by /proc."""
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        try:
            line = (place / "cmdline").read_bytes()
            state = (place / "stat").read_text().rpartition(")")[2].split()[0]
        except OSError:
            continue
        if marker.encode() in line and state != "Z" and place.name != str(os.getpid()):
            found.append(line.decode())
    return found


# -- what is found --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("end", "name"), [("--receiver", "lantern.py"), ("--transmitter", "quay.py")]
)
def test_a_right_program_is_undecided_never_holds(end: str, name: str) -> None:
    result = ask(end, "--command", program(name), "--runs", "12")

    assert result.exit_code == 3
    assert result.stdout.startswith("undecided: ")
    assert "that is no proof" in result.stdout.replace("\n", " ")


def test_the_time_limit_ends_the_search() -> None:
    command = program("lantern.py")
    found = ask_json("--receiver", "--command", command, "--time", "0.5", "--runs", "100000")

    assert found["verdict"] == "undecided"
    assert str(found["covered"]).endswith("; then the time was up")


@pytest.mark.parametrize(
    ("end", "arguments", "kind"),
    [
        ("--receiver", ("lantern.py", "stays armed"), "ghost"),
        ("--transmitter", ("quay.py", "hurries"), "lost"),
    ],
)
def test_a_planted_bug_is_shrunk_to_two_presses(
    end: str, arguments: tuple[str, ...], kind: str
) -> None:
    found = ask_json(end, "--command", program(*arguments))
    again = ask_json(end, "--command", program(*arguments))
    trace = found["trace"]

    assert found == again  # the same seed
    assert found["verdict"] == "fails"
    assert found["minimal"] is True
    assert isinstance(trace, dict)
    assert trace["failure"]["kind"] == kind
    presses = [e["tick"] for e in trace["events"] if e["signal"] == "in.red" and e["value"]]
    # As close as the operator allows (8): nothing could be left out or shortened.
    assert presses == [0, 8]


def test_nobody_says_what_went_on_inside_a_receiver_that_is_not_ours() -> None:
    result = ask("--receiver", "--command", program("lantern.py", "stays armed"))
    told = " ".join(result.stdout.split())

    assert "tick 8 (400 ms): the presses of 'red' at tick 0 and 'red' at tick 8 went before" in told
    assert "rule" not in told


@pytest.mark.parametrize(
    ("fault", "kind", "words"),
    [
        pytest.param("dies", "dies", 'exit status 7; on stderr "lamp out"', marks=pytest.mark.slow),
        ("hangs", "hangs", "no line in 0.15 s"),
        ("babbles", "babbles", 'line "good evening", which is not tick,signal,value'),
        pytest.param("floods", "babbles", "a line of more than 200 bytes", marks=pytest.mark.slow),
    ],
)
def test_a_program_that_does_not_do_its_part(fault: str, kind: str, words: str) -> None:
    marker = f"marker-{os.getpid()}-{fault}"
    command = program("lantern.py", fault, marker)
    result = ask("--receiver", "--command", command, "--patience", "0.15", "--json")
    found = json.loads(result.stdout)

    assert result.exit_code == 1
    assert found["trouble"]["kind"] == kind
    assert words in found["trouble"]["found"]
    # The third rise is that of the second press.
    assert found["trouble"]["tick"] == 8
    assert alive(marker) == []


def test_how_a_child_ended_is_told_where_the_system_cannot_look_without_waiting(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delattr("os.waitid", raising=False)
    for ending, told in (("sys.exit(7)", "exit status 7"), ("os.kill(0, 9)", "signal 9")):
        child = Child([sys.executable, "-c", f"import os, sys; {ending}"], frozenset(), 5)
        with pytest.raises(TargetError, match=told):
            child.begin()
        assert child.process is None


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("Lantern", "undecided"),
        ("silent", "fails kind=lost output=red tick=4"),
        ("Breaker", "fails kind=dies tick=8"),
        pytest.param("Sleeper", "fails kind=hangs tick=8", marks=pytest.mark.slow),
    ],
)
def test_python_objects(name: str, line: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(TARGETS)
    result = ask(
        *("--receiver", "--callable", f"bells:{name}", "--allow-code"),
        *("--runs", "30", "--patience", "0.1", "--quiet"),
    )

    assert result.stdout == f"{line}\n"


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ((4, "out.blue", 1), 'signal "out.blue", which is none of out.green, out.red'),
        ((4, "out.red", 2), "value 2 of out.red, which is neither 0 nor 1"),
        ((4, "out.red", True), "value true of out.red"),
        ((3, "out.red", 1), "out.red at tick 3, when only ticks 4 to 6 are new"),
        ((7, "out.red", 1), "out.red at tick 7"),
        ((5, "out.green", 1), "out.green twice in tick 5"),
        ((4, "out.red", 1), "out.red at tick 4, after what was said of tick 5"),
    ],
)
def test_what_may_not_be_said(said: tuple[int, str, object], words: str) -> None:
    listener = Listener(frozenset({"out.red", "out.green"}))
    listener.begin()
    listener.done = 3
    if "tick 5" in words:
        assert listener.take(5, "out.green", 1, 6) == (5, "out.green", 1)

    with pytest.raises(TargetError) as caught:
        listener.take(*said, 6)

    assert caught.value.kind == "babbles"
    assert words in caught.value.found


def test_levers_are_watched_too(tmp_path: Path) -> None:
    path = tmp_path / "gate.toml"
    path.write_text(
        'tick = "50 ms"\n[inputs]\ncount = 2\nkind = "level"\n[link]\nscheme = "wire-per-input"\n'
    )
    link = load(str(path))

    class Gate:
        """Shows what the lines show, but the second lever never comes down."""

        def __call__(self, tick: int, words: list[Word]) -> list[Word]:
            shown = {"line.1": "out.1", "line.2": "out.2"}
            return [(shown[name], v) for name, v in words if (name, v) != ("line.2", 0)]

    known = frozenset(name for name, _ in sayings(link, "receiver"))
    bench = Bench(Subject(link), "receiver", CallableTarget(Gate, known, 1.0))
    found = fuzz(bench, 30, 5, 0, Budget(20), Tried())

    assert found.outcome is not None
    # Up, and down: which two moves of lever 2.
    assert [press.input for press in found.outcome.script.presses] == [1, 1]


# -- the model as a target: the bench must then say what the simulator says ------------


class Model:
    """An end of the model, by itself, as a target."""

    def __init__(self, link: Link, end: ForeignEnd) -> None:
        place = (Place.FAR, Place.OUTPUT) if end == "receiver" else (Place.INPUT, Place.NEAR)
        self.compiled = Compiled(systems(link, Stretch(*place))[0])
        numbers = {edge: k for k, edge in enumerate(edges_at(link, place[0]))}
        self.heard = {word: numbers[edge] for edge, word in hearings(link, end).items()}
        self.said = {edge: word for word, edge in sayings(link, end).items()}
        self.listener = Listener(frozenset(name for name, _ in sayings(link, end)))

    def begin(self) -> None:
        self.listener.begin()
        self.state = self.compiled.start_with({})

    def hear(self, tick: int, words: Sequence[Word]) -> list[Said]:
        found: list[Said] = []
        now, played = self.listener.done, [self.heard[word] for word in words]
        while now < tick:
            event = self.compiled.next_event(self.state)
            passed = min(tick - now, event or tick - now)
            now += passed
            result = self.compiled.step(self.state, passed, played if now == tick else [])
            assert result is not None
            self.state, log = result
            found += [(now, *self.said[event]) for event in log if event in self.said]
        self.listener.done = tick
        return found

    def close(self) -> None:
        pass


@given(st.data(), schemes, st.sampled_from(["press", "level"]))
@settings(max_examples=30)
def test_the_model_as_a_target_does_what_the_simulator_says(
    data: st.DataObject, scheme: Scheme, kind: str
) -> None:
    assume(kind == "press" or isinstance(scheme, WirePerInput | ParallelCode))
    spacing, delay = data.draw(st.integers(0, 12)), data.draw(st.integers(2, 3))
    faults = data.draw(st.one_of(st.just(Faults()), line_faults(scheme.lines)))
    operator = Operator(spacing=spacing)
    link = make_link(scheme, operator, delay=(delay, delay), kind=kind, faults=faults)
    inputs = st.integers(0, link.inputs - 1)
    times = data.draw(st.lists(st.tuples(st.integers(0, 30), inputs), max_size=5, unique=True))
    script = Script(tuple(Press(*t) for t in sorted(times)), delay)
    subject = Subject(link)
    end = data.draw(st.sampled_from(["receiver", "transmitter"]))
    bench = Bench(subject, end, Model(link, end))
    try:
        outcome = bench.run(script)
        expected = subject.replay(script)
    except NotAllowedError:
        assume(False)
        raise

    assert outcome.model_fails == (expected.failure is not None)
    if not outcome.model_fails:
        assert not outcome.wrong
        # A transmitter that nobody sees into hears releases as well.
        heard = [e for e in outcome.trace.events if not e.signal.startswith("in.")]
        assert heard == [e for e in expected.events if not e.signal.startswith("in.")]


@pytest.mark.parametrize("end", ["receiver", "transmitter"])
def test_both_ends_of_a_scan_which_never_rests(end: ForeignEnd, tmp_path: Path) -> None:
    path = tmp_path / "mast.toml"
    path.write_text(
        'tick = "20 ms"\n[inputs]\ncount = 2\nkind = "level"\n[link]\nscheme = "synced-scan"\n'
        "slot = 4\n[line]\ndelay = 1\njitter = 1\n[operator]\nspacing = 3\n"
    )
    link = load(str(path))
    right = fuzz(Bench(Subject(link), end, Model(link, end)), 20, 5, 0, Budget(20), Tried())

    never = ("out.2", 0) if end == "receiver" else ("line.1", 1)

    class Stuck(Model):
        """One thing it never says."""

        def hear(self, tick: int, words: Sequence[Word]) -> list[Said]:
            return [said for said in super().hear(tick, words) if said[1:] != never]

    wrong = fuzz(Bench(Subject(link), end, Stuck(link, end)), 20, 5, 0, Budget(20), Tried())

    assert right.outcome is None
    assert right.runs > right.left_out
    assert wrong.outcome is not None
    assert wrong.minimal


def test_a_receiver_may_be_on_any_branch_of_the_line() -> None:
    """One that counts on the far branch's delay is right there and nowhere else."""
    link = make_link(WirePerInput(2), Operator(spacing=3), delay=(1, 1))
    link = replace(link, branches=(0, 5))

    class Far:
        """Strikes 6 ticks after the press, whatever the line does."""

        def __call__(self, tick: int, words: list[Word]) -> list[Word]:
            shown = {"line.1": "out.k1", "line.2": "out.k2"}
            return [(shown[name], v) for name, v in words if v and tick >= 6]

    known = frozenset(name for name, _ in sayings(link, "receiver"))
    target = CallableTarget(Far, known, 1.0)
    near = Bench(Subject(link), "receiver", target, 0).run(Script((Press(0, 0),), 1))
    far = Bench(Subject(link), "receiver", target, 1).run(Script((Press(0, 0),), 1))

    assert near.wrong
    assert not far.wrong
    assert [e.tick for e in far.trace.events if e.signal == "out.k1"] == [6]
    one, two = (replace(link, branches=(b,)) for b in link.branches)
    for k, branch in enumerate((one, two)):
        bench = Bench(Subject(link), "receiver", Model(branch, "receiver"), k)
        assert fuzz(bench, 20, 5, 0, Budget(20), Tried()).outcome is None


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--receiver", "--branch", "2"), "--branch: found 2; allowed: a branch of the link, 1\n"),
        (("--transmitter", "--branch", "2"), "--branch: found 2 of a transmitter"),
    ],
)
def test_a_branch_that_is_not_there(arguments: tuple[str, ...], words: str) -> None:
    result = ask(*arguments, "--command", program("lantern.py"))

    assert result.exit_code == 2
    assert words in result.stderr


def test_a_target_that_does_not_always_do_the_same() -> None:
    link = load(LINK)

    class Moody(Model):
        """Now and then it says nothing."""

        runs = 0

        def begin(self) -> None:
            super().begin()
            self.runs += 1

        def hear(self, tick: int, words: Sequence[Word]) -> list[Said]:
            said = super().hear(tick, words)
            return [] if self.runs % 3 == 0 else said

    found = fuzz(
        Bench(Subject(link), "receiver", Moody(link, "receiver")), 50, 5, 0, Budget(20), Tried()
    )

    assert found.outcome is not None
    assert not found.steady


def test_what_the_model_gets_wrong_is_not_held_against_the_target() -> None:
    link = load(LINK).with_operator(spacing=4)
    bench = Bench(Subject(link), "receiver", Model(link, "receiver"))
    found = fuzz(bench, 20, 5, 0, Budget(20), Tried())

    assert found.outcome is None
    assert found.left_out > 0


def test_an_interruption_in_the_middle_of_a_search_is_one() -> None:
    link = load(LINK)

    class Impatient(Model):
        runs = 0

        def begin(self) -> None:
            super().begin()
            self.runs += 1
            if self.runs > 20:
                raise KeyboardInterrupt

    bench = Bench(Subject(link), "receiver", Impatient(link, "receiver"))
    with pytest.raises(KeyboardInterrupt):
        fuzz(bench, 100, 6, 0, Budget(20), Tried())


# -- files ------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_pytest_file_fails_until_the_target_is_mended(tmp_path: Path) -> None:
    mine = tmp_path / "lantern.py"
    shutil.copy(TARGETS / "lantern.py", mine)
    command = f"'{sys.executable}' '{mine}' 'stays armed'"
    test, out = tmp_path / "test_lantern.py", tmp_path / "run.json"
    ask("--receiver", "--command", command, "--pytest", str(test), "--out", str(out))

    def run() -> subprocess.CompletedProcess[str]:
        words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(test)]
        return subprocess.run(words, capture_output=True, text=True, cwd=tmp_path, check=False)

    failed = run()
    mine.write_text(mine.read_text().replace('if FAULT == "stays armed"', 'if FAULT == "mended"'))
    mended = run()

    assert "1 failed" in failed.stdout
    assert "kind='ghost', output='white'" in failed.stdout
    assert (mended.returncode, "1 passed" in mended.stdout) == (0, True)
    assert json.loads(out.read_text())["failure"]["output"] == "white"


def test_hypothesis_leaves_nothing_where_the_command_is_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert ask("--receiver", "--command", program("lantern.py"), "--runs", "3").exit_code == 3
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_written_where_nothing_is_found(tmp_path: Path) -> None:
    path = tmp_path / "test_it.py"
    command = program("lantern.py")
    result = ask("--receiver", "--command", command, "--runs", "3", "--pytest", str(path))

    assert not path.exists()
    assert result.stderr == f"nothing to write to {path}\n"


# -- nothing stays behind ------------------------------------------------------------------


@pytest.fixture
def hanging() -> Iterator[tuple[subprocess.Popen[str], str]]:
    """fewwire, waiting for a program that hangs and has a child of its own."""
    marker = f"marker-{os.getpid()}-{time.monotonic_ns()}"
    command = program("lantern.py", "hangs with a child", marker)
    words = [sys.executable, "-m", "verify.cli", "fuzz", LINK, "--receiver"]
    process = subprocess.Popen(
        [*words, "--command", command, "--patience", "60"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    # fewwire itself has the marker on its command line, too: with program and child three.
    deadline = time.monotonic() + 20
    while len(alive(marker)) < 3 and time.monotonic() < deadline:
        time.sleep(0.05)
    try:
        assert len(alive(marker)) == 3
        yield process, marker
    finally:
        process.kill()
        process.communicate()


@pytest.mark.parametrize(
    ("number", "status", "said"),
    [
        (signal.SIGINT, 130, "interrupted"),
        pytest.param(signal.SIGTERM, 143, "", marks=pytest.mark.slow),
    ],
)
def test_told_to_end_it_leaves_no_process_behind(
    hanging: tuple[subprocess.Popen[str], str], number: signal.Signals, status: int, said: str
) -> None:
    process, marker = hanging
    process.send_signal(number)
    _, stderr = process.communicate(timeout=20)

    assert process.returncode == status
    assert said in stderr
    assert "Traceback" not in stderr
    assert alive(marker) == []


# -- wrong input -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--command", "cat"], "allowed: --receiver or --transmitter"),
        (["--receiver"], "allowed: --command or --callable"),
        (["--receiver", "--command", "cat", "--callable", "a:b"], "found two targets"),
        (["--receiver", "--command", "'"], "no closing quotation"),
        (["--receiver", "--command", "no-such-lamp"], "no such file or directory"),
        (["--receiver", "--command", "false"], "a target that dies before it has heard anything"),
        (["--receiver", "--callable", "bells:Lantern"], "--allow-code"),
        (["--receiver", "--callable", "bells", "--allow-code"], "allowed: MODULE:NAME"),
        (["--receiver", "--callable", "no_bells:x", "--allow-code"], 'no module "no_bells"'),
        (["--receiver", "--command", "cat", "--out", "x.doc"], 'found ending ".doc"'),
    ],
)
def test_wrong_input_is_one_line(arguments: list[str], words: str) -> None:
    result = ask(*arguments)

    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert words in result.stderr


@pytest.mark.skipif(not hasattr(signal, "SIGPIPE"), reason="no such signal")
def test_a_target_that_dies_ends_no_run_of_ours() -> None:
    """Whatever a library has made of the signal of a broken pipe."""
    before = signal.signal(signal.SIGPIPE, signal.SIG_DFL)
    try:
        result = ask("--receiver", "--command", "false")
    finally:
        signal.signal(signal.SIGPIPE, before)

    assert result.exit_code == 2


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ("[clock]\nrate = 0.01", "clock.rate"),
        ('[pause]\nmost = 2\nend = "receiver"', "pause"),
        ("", "start"),
    ],
)
def test_what_one_end_cannot_be_asked_of(line: str, key: str, tmp_path: Path) -> None:
    path = tmp_path / "link.toml"
    top = 'start = "any"\n' if key == "start" else ""
    path.write_text(f"{top}{Path(LINK).read_text()}\n{line}\n")
    result = CliRunner().invoke(main, ["fuzz", str(path), "--receiver", "--command", "cat"])

    assert result.exit_code == 2
    assert f"{key}: found" in result.stderr


class Shutters:
    """A receiver of gaps 4 and 9; ``off``: how far a gap may be off."""

    def __init__(self, off: int) -> None:
        self.off = off
        self.armed: int | None = None

    def __call__(self, tick: int, words: list[Word]) -> list[Word]:
        if ("line", 1) not in words:
            return []
        if self.armed is None or tick - self.armed > 9 + self.off:
            self.armed = tick
            return []
        gap, self.armed = tick - self.armed, None
        return [(f"out.k{k}", 1) for k, g in ((1, 4), (2, 9)) if abs(gap - g) <= self.off]


class Keys:
    """A transmitter of gaps 4 and 20, the second of which it makes ``longer``."""

    def __init__(self, longer: int) -> None:
        self.edges: list[tuple[int, int]] = []
        self.gaps = {"in.k1": 4, "in.k2": 20 + longer}

    def __call__(self, tick: int, words: list[Word]) -> list[Word]:
        for name, value in words:
            if value:
                gap = self.gaps[name]
                self.edges += [(tick + at, 1 - at % gap) for at in (0, 1, gap, gap + 1)]
        return [("line", value) for at, value in sorted(self.edges) if at == tick]


def fuzzed(link: Link, end: ForeignEnd, make: Callable[[], object]) -> Fuzzed:
    known = frozenset(name for name, _ in sayings(link, end))
    bench = Bench(Subject(link), end, CallableTarget(lambda: make(), known, 5))
    return fuzz(bench, 50, 3, 1, Budget(30), Tried())


def test_the_models_end_pauses() -> None:
    scheme = PulseGap((4, 9), 1, (1, 1))
    link = make_link(scheme, Operator(spacing=14), pause=Pause(1, 1, End.EITHER))
    assert fuzzed(link, "receiver", lambda: Shutters(1)).outcome is None

    strict = fuzzed(link, "receiver", lambda: Shutters(0)).outcome

    assert strict is not None
    assert [(pick.name, pick.value) for pick in strict.script.picks] == [("pause.transmitter", 0)]
    assert len(strict.script.presses) == 1
    undisturbed = replace(link, pause=Pause())
    assert fuzzed(undisturbed, "receiver", lambda: Shutters(0)).outcome is None


def test_a_transmitter_may_be_off_as_the_file_lets_its_clock() -> None:
    """One tick in 20 is 5 %; its edges go to all branches."""
    link = make_link(PulseGap((4, 20), 1, (1, 1)), Operator(spacing=30), branches=(0, 3))
    off = replace(link, clock=Clock((Fraction(-1, 20), Fraction(1, 20))))

    assert fuzzed(link, "transmitter", lambda: Keys(0)).outcome is None
    assert fuzzed(off, "transmitter", lambda: Keys(1)).outcome is None
    late = fuzzed(link, "transmitter", lambda: Keys(1)).outcome
    further = fuzzed(off, "transmitter", lambda: Keys(2)).outcome

    assert late is not None
    assert late.trace.failure is not None
    assert late.trace.failure.kind in ("late", "lost")
    assert further is not None


def test_hypothesis_is_an_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "verify.fuzzing.search", raising=False)
    monkeypatch.setitem(sys.modules, "hypothesis", None)
    result = ask("--receiver", "--command", program("lantern.py"))

    assert result.exit_code == 2
    assert "pip install 'fewwire[fuzz]'" in result.stderr
