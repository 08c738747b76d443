import re
import tomllib
from dataclasses import replace
from fractions import Fraction

import pytest

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.parameters import KNOWN
from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from verify.engines.answer import Progress, Verdict
from verify.errors import UsageError
from verify.linkfile import MOST_INPUTS, TABLES, parse
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject, judge
from verify.questions.machine_faults import MachineFaults, machine_faults
from verify.questions.spacing import least_spacing
from verify.starting_file import starting_file

SIZES = [1, 2, 7, 8, 28, 29, 200]
ABOVE = ("gaps", "names", "codes", "# order")  # have their comments on the lines above
OPTIONAL = re.compile(r"^# ([a-z_]+ = )", re.MULTILINE)


def read(text: str) -> Link:
    return parse(text, "start.toml")


@pytest.mark.parametrize("scheme", KNOWN)
@pytest.mark.parametrize("inputs", SIZES)
def test_the_file_is_read_as_the_scheme_and_size_wanted(scheme: str, inputs: int) -> None:
    link = read(starting_file(scheme, inputs))
    assert (link.scheme_name, link.inputs, link.tick) == (scheme, inputs, Fraction(1, 20))
    assert len(set(link.names)) == inputs


def test_the_default_is_seven_bells_on_one_line() -> None:
    assert read(starting_file()) == Link(
        name="carillon",
        tick=Fraction(1, 20),
        names=tuple("cdefgab"),
        scheme_name="pulse-gap",
        scheme=PulseGap(gaps=(2, 4, 6, 8, 10, 12, 14), pulse=1, window=(0,) * 7),
        operator=Operator(spacing=16),
    )
    assert read(starting_file("wire-per-input", 3)).scheme == WirePerInput(3)


def test_the_least_lines_and_bits_are_used() -> None:
    # k lines with idle reserved carry 2^k - 1 inputs: common practice, no source.
    for inputs, lines in ((1, 1), (3, 2), (4, 3), (7, 3), (8, 4)):
        scheme = read(starting_file("parallel-code", inputs)).scheme
        assert scheme == ParallelCode(tuple(range(1, inputs + 1)), lines)
    for inputs, bits in ((1, 1), (2, 1), (4, 2), (5, 3), (8, 3), (9, 4)):
        link = read(starting_file("framed-serial", inputs))
        assert link.scheme == FramedSerial(tuple(range(inputs)), bits, 2, 3)
        assert link.operator.spacing == link.scheme.frame


def test_the_order_shown_for_three_is_one() -> None:
    text = starting_file("wire-per-input", 29).replace("# order", "order")
    assert read(text.replace("count = 29", "count = 3")).order == (1, 0, 2)


SCANS = ("free-scan", "synced-scan")
WITHOUT_CLOCK = ("wire-per-input", "parallel-code")
NO_DEFAULT = ("start", "most", "times", "end", "held")  # or only with another
FOR_PRESSES = {"hold", "within"}


def keys_of(text: str) -> dict[str, set[str]]:
    document = tomllib.loads(OPTIONAL.sub(r"\1", text))
    return {name: set(table) for name, table in document.items() if isinstance(table, dict)}


@pytest.mark.parametrize("scheme", KNOWN)
@pytest.mark.parametrize("inputs", [7, 30])
def test_every_key_there_is_stands_in_it(scheme: str, inputs: int) -> None:
    found = keys_of(starting_file(scheme, inputs))
    expected = {name: set(table.model_fields) for name, table in TABLES.items()}
    expected["link"] = set(KNOWN[scheme].model_fields)
    expected["inputs"] -= {"names" if inputs > 28 else "count"}
    if scheme in SCANS:
        expected["operator"] -= FOR_PRESSES
    else:
        expected["clock"] = set() if scheme in WITHOUT_CLOCK else {"rate", "wander"}
    if scheme in WITHOUT_CLOCK:
        expected["pause"] = set()
    if scheme == "own":
        # What machines may have besides is for the manual: the file shows two that work.
        expected |= {end: {"rules", "timers"} for end in ("transmitter", "receiver")}
    assert found == expected


@pytest.mark.parametrize("scheme", KNOWN)
def test_every_key_has_a_comment(scheme: str) -> None:
    for line in starting_file(scheme).splitlines():
        if re.match(r"(# )?[a-z_]+ = ", line) and not line.startswith(ABOVE):
            assert re.search(r'\S\s+# ["\w]', line), line
    assert max(map(len, starting_file(scheme).splitlines())) <= 95


@pytest.mark.parametrize("scheme", KNOWN)
def test_the_defaults_shown_are_the_defaults(scheme: str) -> None:
    text = starting_file(scheme)
    plain = read(text)
    checked = set()
    for match in OPTIONAL.finditer(text):
        key = match[1].split()[0]
        changed = text[: match.start()] + text[match.start() + 2 :]
        if key in ("within", "depth", "python", "queue", *NO_DEFAULT):
            continue
        link = read(changed)
        if key == "overlap":  # "all of them", as a number
            assert link.operator.overlap == link.inputs
            link = replace(link, operator=replace(link.operator, overlap=None))
        assert link == plain, key
        checked.add(key)
    assert {"kind", "delay", "branches", "repeat", "jitter", "skew"} <= checked
    assert {"shortest", "order"} <= checked
    if scheme in SCANS:
        assert {"sample", "align", "offset"} <= checked
        return
    assert "hold" in checked
    assert "overlap" in checked or plain.operator.overlap == 1
    within = read(text.replace("# within", "within"))
    assert (plain.within, within.within) == (None, (0, 100))


@pytest.mark.parametrize("scheme", ["pulse-gap", "framed-serial"])
def test_the_depth_shown_is_the_default_where_it_may_stand(scheme: str) -> None:
    text = starting_file(scheme).replace('# busy = "overlay"', 'busy = "queue"')
    assert read(text) == read(text.replace("# depth", "depth"))


def test_bounds_that_it_sets_are_needed() -> None:
    for scheme, changes in (
        ("pulse-gap", {"spacing": 15}),
        ("framed-serial", {"spacing": 6}),
        ("parallel-code", {"overlap": None}),
    ):
        link = read(starting_file(scheme)).with_operator(**changes)
        assert judge(Subject(link), "auto", Progress()).verdict is Verdict.FAILS


@pytest.mark.parametrize("scheme", KNOWN)
@pytest.mark.parametrize("inputs", [1, 2, 7, 16])
def test_the_link_holds(scheme: str, inputs: int) -> None:
    if scheme in SCANS and inputs > 2:
        pytest.skip("every phase of a long frame takes longer to explore than this test may")
    link = read(starting_file(scheme, inputs))
    assert judge(Subject(link), "auto", Progress()).verdict is Verdict.HOLDS


def test_machines_of_ones_own_have_no_faults_and_need_their_spacing() -> None:
    for inputs in (1, 2, 7):
        link = read(starting_file("own", inputs))
        assert machine_faults(link) == MachineFaults(())
        found = least_spacing(Subject(link), "auto", Progress())
        assert (found.verdict, found.ticks) == (Verdict.HOLDS, link.operator.spacing)


@pytest.mark.parametrize("scheme", ["wire-per-input", "parallel-code", "framed-serial"])
def test_the_largest_file_can_be_read(scheme: str) -> None:
    link = read(starting_file(scheme, MOST_INPUTS))
    assert link.inputs == MOST_INPUTS


@pytest.mark.parametrize(
    ("scheme", "inputs", "message"),
    [
        ("pulse-gap", 0, "found 0 inputs; allowed: 1 to 100000"),
        ("pulse-gap", MOST_INPUTS + 1, "found 100001 inputs; allowed: 1 to 100000"),
        (
            "pulsegap",
            7,
            'found scheme "pulsegap"; allowed: "pulse-gap", "wire-per-input", '
            '"parallel-code", "framed-serial", "free-scan", "synced-scan" or "own"',
        ),
    ],
)
def test_what_cannot_be_written_is_refused(scheme: str, inputs: int, message: str) -> None:
    with pytest.raises(UsageError) as error:
        starting_file(scheme, inputs)
    assert str(error.value) == message
