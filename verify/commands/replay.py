"""Command ``replay``: a recording of the real build against the model."""

from __future__ import annotations

import click

from verify.commands.shared import (
    BAD,
    FAILS,
    HOLDS,
    UNDECIDED,
    budget_of,
    fail,
    guarded,
    json_option,
    print_json,
    subject_of,
    time_option,
    watched,
)

STATUS = {"agrees": HOLDS, "decoded": HOLDS, "parts": FAILS, "undecided": UNDECIDED}
# Of many warnings no more are shown.
MOST_SHOWN = 5


@click.command()
@click.option(
    "--within",
    multiple=True,
    metavar="KIND=MOST",
    help="Look for the least of this disturbance, up to MOST, that explains a difference: "
    "clock.offset, clock.rate, line.delay, line.jitter, line.skew, line.swallowed (pulses), "
    "pause.transmitter or pause.receiver. May be given several times: each by itself.",
)
@click.option(
    "--tolerance",
    type=click.IntRange(min=0),
    metavar="TICKS",
    help="How far times may differ. Default: 0, or 1 where recorded times are no whole ticks.",
)
@click.option(
    "--name",
    "names",
    multiple=True,
    metavar="THEIRS=OURS",
    help="What the recording calls a signal of the link. May be given several times.",
)
@json_option
@time_option("Look for disturbances no longer than this; what is then open is undecided.")
@click.argument("file", type=click.Path())
@click.argument("recording", type=click.Path())
@guarded
def replay(
    file: str,
    recording: str,
    seconds: float,
    as_json: bool,
    within: tuple[str, ...],
    tolerance: int | None,
    names: tuple[str, ...],
) -> int:
    """Hold a recording of the real build against the model: where do they part, and why?

    RECORDING is a .csv (columns tick or time, signal, value), a .vcd or a .json of any of the
    signals in.NAME, line, line.far, out.NAME. Each place that was recorded is compared with what
    the model makes of the place before it, so the answer says which part of the link is to
    blame. Exit status: 0 it agrees, 1 it parts, 2 bad file, 3 undecided.

    Example: fewwire replay carillon.toml carillon_evensong.csv
    """
    from verify.questions.disturbed import parse_within
    from verify.questions.holding import Warnings, known_signals
    from verify.questions.replay import replay as held
    from verify.recordings.formats import open_recording
    from verify.recordings.recording import shown_path

    shown = shown_path(recording)

    def tell(line: int, what: str) -> None:
        if len(warnings.kept) <= MOST_SHOWN:
            click.echo(f"fewwire: {shown}:{line}: {what}", err=True)

    warnings = Warnings(tell)
    with watched() as progress:
        subject = subject_of(file)
        link = subject.link
        asked = [parse_within(text, link) for text in within]
        known = known_signals(link)
        opened = open_recording(recording, known, link.tick, _renamed(names, known))
        found = held(
            subject, opened, asked, warnings, progress, budget_of(seconds), tolerance=tolerance
        )
    if warnings.in_all > MOST_SHOWN:
        click.echo(f"fewwire: {shown}: {warnings.in_all - MOST_SHOWN} warnings more", err=True)
    from verify.reports.replays import replay_json, show_replay

    if as_json:
        print_json(replay_json(subject, found, recording, warnings))
    else:
        show_replay(subject, found, recording)
    return STATUS[found.verdict]


def _renamed(names: tuple[str, ...], known: tuple[str, ...]) -> dict[str, str]:
    from verify.fields import did_you_mean, value_text
    from verify.recordings.recording import names_text

    renamed: dict[str, str] = {}
    for text in names:
        theirs, _, ours = text.partition("=")
        if not theirs or ours not in known:
            allowed = f"THEIRS=OURS, with OURS {names_text(known)}{did_you_mean(ours, known)}"
            fail(f"--name: found {value_text(text)}; allowed: {allowed}", BAD)
        renamed[theirs] = ours
    return renamed
