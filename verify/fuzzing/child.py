"""A child process as a target: lines of CSV on its stdin and stdout, `tick,signal,value`.

`0,reset,0` begins a run and is answered by itself. `T,now,0` says that tick T is over: the
child says what it did up to then, then answers the same line. What it hears in tick T comes
between `now` of tick T - 1 and `now` of tick T.
"""

from __future__ import annotations

import contextlib
import csv
import os
import selectors
import signal
import subprocess
import threading
from collections.abc import Sequence
from time import monotonic, sleep

from verify.errors import UsageError
from verify.fields import value_text
from verify.fuzzing.target import Listener, Said, TargetError, Word

LONGEST_LINE = 200  # bytes
MOST_LINES = 10_000  # before one `now` is answered
FIRST_ANSWER = 10.0  # seconds that a child has to come up, if it is not given more
_KEPT = 400  # bytes of its stderr, for messages
_BLOCK = 4096


class Child:
    """A command, started when it is first needed, and again after it was killed.

    ``fresh``: a new process for every run. ``patience``: seconds to wait for a line.
    """

    def __init__(
        self,
        command: Sequence[str],
        known: frozenset[str],
        patience: float,
        *,
        fresh: bool = False,
        cwd: str | None = None,
    ) -> None:
        self.command, self.patience, self.fresh, self.cwd = list(command), patience, fresh, cwd
        self.listener = Listener(known)
        self.process: subprocess.Popen[bytes] | None = None

    # -- a target ------------------------------------------------------------------

    def begin(self) -> None:
        """Reset it; a new process where there is none that could be."""
        self.listener.begin()
        if self.fresh:
            self.close()
        patience = self.patience
        if self.process is None:
            self._start()
            patience = max(patience, FIRST_ANSWER)
        self._exchange([_line(0, "reset", 0)], 0, "reset", patience)

    def hear(self, tick: int, words: Sequence[Word]) -> list[Said]:
        """Go on to ``tick`` in two steps: what happens by itself, then what it hears."""
        said: list[Said] = []
        if words and tick - 1 > self.listener.done:
            said += self._now(tick - 1, ())
        return said + self._now(tick, words)

    def close(self) -> None:
        """Kill it and all that it has started."""
        process, self.process = self.process, None
        if process is None:
            return
        # The group may outlive its first process.
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        for stream in (process.stdin, process.stdout, process.stderr):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()

    # -- talking ---------------------------------------------------------------------

    def _start(self) -> None:
        _heed_no_broken_pipe()
        try:
            self.process = subprocess.Popen(
                self.command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                bufsize=0,
                cwd=self.cwd,
                start_new_session=True,  # a process group of its own, to be killed as one
            )
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise UsageError(
                f"--command: found {reason} for {value_text(self.command[0])}; allowed: a program "
                "that can be started"
            ) from None
        for stream in self._streams(self.process):
            os.set_blocking(stream, False)
        self.unread, self.errors = b"", b""

    @staticmethod
    def _streams(process: subprocess.Popen[bytes]) -> tuple[int, int, int]:
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stderr is not None
        return process.stdin.fileno(), process.stdout.fileno(), process.stderr.fileno()

    def _now(self, tick: int, words: Sequence[Word]) -> list[Said]:
        lines = [_line(tick, name, value) for name, value in words]
        said = self._exchange([*lines, _line(tick, "now", 0)], tick, "now", self.patience)
        self.listener.done = tick
        return said

    def _exchange(self, lines: Sequence[str], tick: int, until: str, patience: float) -> list[Said]:
        """Send lines; what comes back before the last of them is echoed. Kills it if it fails."""
        try:
            return self._exchanged("".join(lines).encode(), tick, until, patience)
        except TargetError:
            self.close()
            raise

    def _exchanged(self, text: bytes, tick: int, until: str, patience: float) -> list[Said]:
        process = self.process
        assert process is not None
        into, out, err = self._streams(process)
        said: list[Said] = []
        deadline, lines = monotonic() + patience, 0
        with selectors.DefaultSelector() as waiting:
            for stream, events in ((into, selectors.EVENT_WRITE), (out, selectors.EVENT_READ)):
                waiting.register(stream, events)
            with contextlib.suppress(ValueError, KeyError):
                waiting.register(err, selectors.EVENT_READ)
            while True:
                while (line := self._next_line(tick)) is not None:
                    lines += 1
                    if lines > MOST_LINES:
                        found = f"more than {MOST_LINES} lines in one answer"
                        raise TargetError("babbles", tick, found)
                    deadline = monotonic() + patience
                    word = self._read(line, tick, until)
                    if word is None:
                        return said
                    said.append(word)
                left = deadline - monotonic()
                ready = waiting.select(max(0.0, left)) if left > 0 else []
                if not ready and monotonic() >= deadline:
                    raise TargetError("hangs", tick, f"no line in {patience:g} s{self._last()}")
                for key, _ in ready:
                    if key.fd == into:
                        text = self._write(into, text, tick)
                        if not text:
                            waiting.unregister(into)
                    elif key.fd == err:
                        if not self._listen_to_errors(err):
                            waiting.unregister(err)
                    else:
                        block = os.read(out, _BLOCK)
                        if not block:
                            self._listen_to_errors(err)
                            raise TargetError("dies", tick, self._end())
                        self.unread += block

    def _write(self, into: int, text: bytes, tick: int) -> bytes:
        try:
            return text[os.write(into, text) :]
        except BrokenPipeError:
            _, __, err = self._streams(self.process)  # type: ignore[arg-type]
            self._listen_to_errors(err)
            raise TargetError("dies", tick, self._end()) from None

    def _listen_to_errors(self, err: int) -> bool:
        """Keep the end of what it says there; False once it has closed it."""
        try:
            block = os.read(err, _BLOCK)
        except BlockingIOError:
            return True
        self.errors = (self.errors + block)[-_KEPT:]
        return bool(block)

    def _next_line(self, tick: int) -> bytes | None:
        line, end, rest = self.unread.partition(b"\n")
        if len(line) > LONGEST_LINE:
            start = value_text(line[:40].decode(errors="replace"))
            found = f"a line of more than {LONGEST_LINE} bytes that begins with {start}"
            raise TargetError("babbles", tick, found)
        if not end:
            return None
        self.unread = rest
        return line

    def _read(self, line: bytes, tick: int, until: str) -> Said | None:
        """What a line says; None if it is the echo that ends the answer."""
        text = line.decode(errors="replace").strip()
        fields = next(csv.reader([text]), [])
        wrong = TargetError(
            "babbles", tick, f"line {value_text(text)}, which is not tick,signal,value"
        )
        if len(fields) != 3:
            raise wrong
        try:
            when, name, value = int(fields[0]), fields[1].strip(), int(fields[2])
        except ValueError:
            raise wrong from None
        if (when, name, value) == (tick, until, 0):
            return None
        return self.listener.take(when, name, value, tick)

    def _end(self) -> str:
        process = self.process
        assert process is not None
        if (status := _left_with(process, 0.5)) is None:
            return f"stdout closed{self._last()}"
        how = f"exit status {status}" if status >= 0 else f"signal {-status}"
        return f"{how}{self._last()}"

    def _last(self) -> str:
        lines = self.errors.decode(errors="replace").strip().splitlines()
        return f"; on stderr {value_text(lines[-1])}" if lines else ""


def _heed_no_broken_pipe() -> None:
    """A child that is gone is an error of the write, as in any Python: libraries that were at work
    before may have let the signal end the process."""
    if hasattr(signal, "SIGPIPE") and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGPIPE, signal.SIG_IGN)


def _left_with(process: subprocess.Popen[bytes], patience: float) -> int | None:
    """How a child ended, as ``Popen.returncode``; None if it lives on after ``patience`` seconds.

    Where the system can tell without, it stays to be waited for: till then its number, which
    names its group, is given to no other.
    """
    if not hasattr(os, "waitid"):  # macOS before Python 3.13
        with contextlib.suppress(subprocess.TimeoutExpired):
            return process.wait(patience)
        return None
    deadline = monotonic() + patience
    look = os.WEXITED | os.WNOHANG | os.WNOWAIT
    while (ended := os.waitid(os.P_PID, process.pid, look)) is None:
        if monotonic() >= deadline:
            return None
        sleep(0.005)
    status = int(ended.si_status)
    return status if ended.si_code == os.CLD_EXITED else -status


def _line(tick: int, name: str, value: int) -> str:
    quoted = f'"{name.replace(chr(34), chr(34) * 2)}"' if {",", '"'} & {*name} else name
    return f"{tick},{quoted},{value}\n"
