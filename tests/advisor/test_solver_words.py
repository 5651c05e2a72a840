"""The solver's debug line stays out of the output; everything else comes out."""

import ctypes
import os
import subprocess
import sys
import tempfile
import threading

import pytest

from stock.advisor.solver_words import NOISE, without_noise

libc = ctypes.CDLL(None)


def test_only_the_debug_line_is_left_out(capfd):
    with without_noise():
        libc.puts(b"before")
        libc.puts(NOISE)
        libc.puts(NOISE + b" and more")
        sys.stdout.write("by Python\n")
        os.write(2, b"an error\n")
    libc.puts(b"after")
    libc.fflush(None)
    said = capfd.readouterr()
    # Each of the two writers keeps its own order.
    assert sorted(said.out.splitlines()) == [f"{NOISE.decode()} and more", "after", "before", "by Python"]
    assert said.err == "an error\n"


def test_an_error_leaves_the_output_as_it_was(capfd):
    def fail() -> None:
        with without_noise():
            libc.puts(NOISE)
            raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        fail()
    os.write(1, b"here\n")
    assert capfd.readouterr().out == "here\n"


def test_solvers_side_by_side_share_it(capfd):
    inside, first_done = threading.Barrier(2), threading.Event()

    def solve(number: int) -> None:
        with without_noise():
            inside.wait()
            libc.puts(NOISE)
            sys.stdout.write(f"solver {number}\n")
            if number:
                first_done.wait()
                libc.puts(NOISE)
                sys.stdout.write("the last one\n")
        first_done.set()

    threads = [threading.Thread(target=solve, args=(number,)) for number in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(capfd.readouterr().out.splitlines()) == ["solver 0", "solver 1", "the last one"]


def test_a_program_without_an_output_still_solves():
    program = (
        "import os, sys; os.close(1); sys.stdout = None\n"
        "from stock.advisor.solver_words import without_noise\n"
        "with without_noise():\n    sys.stderr.write('solved')"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert ran.stderr == "solved"


def test_without_room_for_a_file_the_output_stays_and_is_taken_again_later(capfd, monkeypatch):
    def full() -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(tempfile, "TemporaryFile", full)
        with without_noise():
            os.write(1, b"solved\n")
    with without_noise():
        libc.puts(NOISE)
    assert capfd.readouterr().out == "solved\n"
