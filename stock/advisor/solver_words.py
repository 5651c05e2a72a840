"""Keeps a line that the solver prints for its own makers off the program's output."""

import ctypes
import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO

NOISE = b"HighsMipSolverData::transformNewIntegerFeasibleSolution tmpSolver.run();"
"""HiGHS prints it where it repairs a solution, straight to the C library's output, whatever scipy's milp is told (HiGHS
1.12, https://github.com/ERGO-Code/HiGHS/issues/2783). In the middle of `bench --json` it would spoil the JSON."""


class _Held:
    """The program's output while any solver runs: one for all threads, as there is one output."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.solvers = 0
        self.output = -1
        self.sink: IO[bytes] | None = None

    def begin(self) -> None:
        with self.lock:
            if not self.solvers:
                self._hold()
            self.solvers += 1

    def _hold(self) -> None:
        """Send the output into a file; without an output, or room for a file, it stays as it is."""
        _flush()
        try:
            output = os.dup(1)
        except OSError:
            return
        try:
            sink = tempfile.TemporaryFile()  # noqa: SIM115 (closed in `end`)
        except OSError:
            os.close(output)
            return
        self.output, self.sink = output, sink
        os.dup2(sink.fileno(), 1)

    def end(self) -> None:
        with self.lock:
            self.solvers -= 1
            if self.solvers or self.sink is None:
                return
            _flush()
            os.dup2(self.output, 1)
            os.close(self.output)
            self.sink.seek(0)
            said = [line for line in self.sink.read().splitlines(keepends=True) if line.strip() != NOISE]
            self.sink.close()
            self.sink = None
            _write(b"".join(said))


_held = _Held()


@contextmanager
def without_noise() -> Iterator[None]:
    """
    Run a solver with its one debug line taken out of the output.

    All else that is printed meanwhile, by whichever thread, comes out once the last solver is done; errors go to the
    other stream and are not touched. A process started meanwhile by another thread prints into the void.
    """
    _held.begin()
    try:
        yield
    finally:
        _held.end()


def _flush() -> None:
    """Send on what Python and the C library still hold back."""
    if sys.stdout is not None and not sys.stdout.closed:
        sys.stdout.flush()
    try:
        ctypes.CDLL(None).fflush(None)
    except (OSError, TypeError, AttributeError):  # no C library by that name: its text then comes out later
        return


def _write(text: bytes) -> None:
    while text:
        text = text[os.write(1, text) :]
