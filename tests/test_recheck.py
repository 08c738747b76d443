"""Certificates: those of demo links are confirmed by both solvers, changed ones are refused."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from verify.allowed_code import allow
from verify.cli import main
from verify.engines.answer import Budget, Progress
from verify.linkfile import load, parse
from verify.questions.certify import certified
from verify.questions.judging import Subject, judge
from verify.questions.rechecking import recheck
from verify.recheck.certificate import Certificate, certificate_of, text_of
from verify.recheck.solvers import solver_of

LINKS = Path(__file__).parent.parent / "models" / "links"
# About a second or more of work.
LONG = {"bird_hide", "biphase_mark_18", "biphase_mark_32", "card_reader", "dcc_bit"}
LONG |= {
    "carillon_chords",
    "greenhouse",
    "lock_gates",
    "settling_edges",
    "stage_lamps",
    "start_stop",
    "weather_mast",
}
OTHERS = re.compile(r"^\[code\]|^ask = ", re.MULTILINE)  # files of code words, and sweeps
DEMOS = sorted(
    path.stem for path in LINKS.glob("*.toml") if not OTHERS.search(path.read_text("utf-8"))
)
FAILING = {"bird_hide", "puppet_theatre"}


def made(name: str) -> Certificate:
    path = LINKS / f"{name}.toml"
    subject = Subject(load(path))
    judged = judge(subject, "auto", Progress(), budget=Budget(60))
    return certified(subject, path.read_text("utf-8"), judged, Budget(100), Progress())


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=[pytest.mark.slow] if name in LONG else []) for name in DEMOS],
)
def test_certificates_of_demo_links_are_confirmed_by_both_solvers(name: str) -> None:
    read = certificate_of(text_of(made(name)), name)
    assert read.verdict == ("fails" if name in FAILING else "holds")

    found = recheck(read, name, {"z3": solver_of("z3"), "cvc5": solver_of("cvc5")})

    assert (found.verdict, found.reason) == ("confirmed", "")
    assert set(found.answers.values()) <= {found.queries}
    assert (found.queries > 0) == (read.verdict == "holds")


PYTHON = """\
from dataclasses import dataclass
from models.wire_per_input import WirePerInput
print("run", flush=True)
@dataclass(frozen=True)
class Wires(WirePerInput):
    pass
def scheme(inputs, tables):
    return Wires(inputs)
"""


@pytest.fixture
def in_python(tmp_path: Path) -> Iterator[Path]:
    """A link file whose scheme is a Python file, which says when it is run."""
    (tmp_path / "wires.py").write_text(PYTHON)
    link = tmp_path / "wires.toml"
    link.write_text(
        'tick = "1 s"\n[inputs]\ncount = 2\n[link]\nscheme = "own"\npython = "wires.py"\n'
    )
    yield link
    allow(False)


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_a_link_in_python_is_rechecked_only_where_its_code_may_be_run(in_python: Path) -> None:
    out = in_python.with_name("proof.json")
    written = run("check", in_python, "--allow-code", "--certificate", out, "--quiet")
    assert (written.exit_code, "holds" in written.stdout) == (0, True), written.output

    asked = run("recheck", out)
    allowed = run("recheck", out, "--allow-code", "--solver", "both")

    assert (asked.exit_code, asked.stdout) == (2, "")
    assert "link.python: found a file of Python code, which would be run; allowed: with --al" in (
        asked.stderr
    )
    assert allowed.exit_code == 0, allowed.output
    assert "confirmed: 'wires' holds." in allowed.stdout


def test_a_failing_link_in_python_is_followed_by_its_code(in_python: Path) -> None:
    out = in_python.with_name("proof.json")
    link = in_python.read_text() + "[operator]\nwithin = [3, 4]\n"
    in_python.write_text(link)
    written = run("check", in_python, "--allow-code", "--certificate", out, "--quiet")
    assert written.exit_code == 1, written.output

    assert run("recheck", out, "--allow-code").stdout.startswith("confirmed: 'wires' fails.")


def test_another_python_file_is_refused_and_not_run(in_python: Path) -> None:
    code, out = in_python.with_name("wires.py"), in_python.with_name("proof.json")
    assert run("check", in_python, "--allow-code", "--certificate", out, "--quiet").exit_code == 0
    code.write_text(PYTHON + "# another\n")

    changed = run("recheck", out, "--allow-code")
    code.rename(in_python.with_name("moved.py")).write_text(PYTHON)
    missing = run("recheck", out, "--allow-code")
    moved = run("recheck", out, "--allow-code", "--python", in_python.with_name("moved.py"))
    other = json.loads(out.read_text())
    other["code"]["file"] = "other.py"
    out.write_text(json.dumps(other))
    renamed = run("recheck", out, "--allow-code", "--python", in_python.with_name("moved.py"))
    del other["code"]
    out.write_text(json.dumps(other))
    untold = run("recheck", out, "--allow-code")

    assert (changed.exit_code, "run\n" in changed.output) == (1, False)
    assert "wires.py is not the file whose SHA-256 is in it" in changed.stdout
    assert (missing.exit_code, "found no such file" in missing.stderr) == (2, True)
    assert (moved.exit_code, "confirmed" in moved.stdout) == (0, True), moved.output
    assert (renamed.exit_code, "allowed: 'other.py'" in renamed.stderr) == (2, True)
    assert (untold.exit_code, "allowed: no key" in untold.stderr) == (2, True)


def test_a_certificate_without_the_states_at_power_up_is_refused() -> None:
    whole = made("carillon")
    (invariant,) = whole.invariants
    fewer = invariant.model_copy(update={"groups": invariant.groups[1:]})
    changed = whole.model_copy(update={"invariants": [fewer]})

    assert recheck(changed, "x", {"z3": solver_of("z3")}).verdict == "refused"


def test_a_certificate_of_a_closer_spacing_is_refused() -> None:
    whole = made("carillon")
    changed = whole.model_copy(update={"link": whole.link.replace("spacing = 16", "spacing = 15")})

    assert recheck(changed, "x", {"z3": solver_of("z3")}).verdict == "refused"


def _written(text: str) -> Certificate:
    subject = Subject(parse(text, "x"))
    judged = judge(subject, "auto", Progress(), budget=Budget(60))
    return certified(subject, text, judged, Budget(30), Progress())


def _confirmed(certificate: Certificate) -> str:
    return recheck(certificate, "x", {"z3": solver_of("z3"), "cvc5": solver_of("cvc5")}).verdict


QUEUE = """tick = "50 ms"
name = "x"
[inputs]
count = 7
[link]
scheme = "pulse-gap"
gaps = [2, 4, 6, 8, 10, 12, 14]
busy = "queue"
depth = 7
[operator]
repeat = 128
"""


def test_a_queue_that_always_has_a_place_has_a_certificate() -> None:
    found = _written(QUEUE)

    assert found.argument == "waiting"
    assert [invariant.busy for invariant in found.invariants] == [70]
    assert _confirmed(found) == "confirmed"
    assert certificate_of(text_of(found), "x") == found


@pytest.mark.parametrize("busy", [None, 1, 69, 10**30])
def test_a_time_that_is_not_that_of_the_queue_is_refused(busy: int | None) -> None:
    found = _written(QUEUE)
    (invariant,) = found.invariants
    changed = found.model_copy(update={"invariants": [invariant.model_copy(update={"busy": busy})]})

    checked = recheck(changed, "x", {"z3": solver_of("z3")})

    assert checked.verdict == "refused"


def test_a_queue_is_shown_to_have_a_place_by_queries_of_its_own() -> None:
    asked: list[str] = []
    found = _written(QUEUE)

    recheck(found, "x", {"z3": solver_of("z3")}, kept=lambda _, query: asked.append(query.name))

    assert asked[:2] == ["busy", "places after 0"]
    assert f"group {len(found.invariants[0].groups)}" in asked


def test_a_time_that_a_queue_is_busy_is_refused_where_none_waits() -> None:
    whole = made("carillon")
    (invariant,) = whole.invariants
    changed = whole.model_copy(update={"invariants": [invariant.model_copy(update={"busy": 9})]})

    assert recheck(changed, "x", {"z3": solver_of("z3")}).verdict == "refused"


@pytest.mark.parametrize(
    "change", [("depth = 7", "depth = 2"), ("repeat = 128", "repeat = 20"), ('"queue"', '"ignore"')]
)
def test_a_certificate_of_another_queue_is_refused(change: tuple[str, str]) -> None:
    found = _written(QUEUE)
    link = found.link.replace(*change)
    if "ignore" in link:
        link = link.replace("depth = 7\n", "")

    assert _confirmed(found.model_copy(update={"link": link})) == "refused"


def test_a_scan_of_64_slots_has_a_certificate_as_small_as_one_of_few() -> None:
    scan = 'tick = "50 ms"\nname = "x"\n[inputs]\ncount = 64\nkind = "level"\n'
    scan += '[link]\nscheme = "free-scan"\nslot = 2\n[operator]\nrepeat = 512\n'
    found = _written(scan)

    assert found.argument == "parts"
    assert sum(len(invariant.groups) for invariant in found.invariants) < 200
    assert _confirmed(found) == "confirmed"
