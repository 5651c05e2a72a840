"""A slow phone and a slow network for the browser tests: `--slow-browser cpu=8,answer=400,piece=300,file=400`.

A test that reads a page before it is there passes on a quick machine and fails by chance on a busy one. Slowed down
it fails here, every time or often. Nothing that is asserted changes.

cpu     how many times slower the page's processor is (Chromium's own throttling)
answer  ms a request is under way before the server sees it
piece   ms between the pieces of a page: it comes as its first line, its head, its body to the middle, and the rest, so
        that the browser has gone over to a page that has no title, no heading or no buttons yet
file    ms more before a style sheet, script or picture

Each wait is drawn anew between none and twice what is asked, so that answers overtake each other from run to run. The
server waits, not the browser's developer tools: their latency holds for no service worker, and a test that switches the
network off and on again takes it away.
"""

from __future__ import annotations

import random
import re
import time
from argparse import ArgumentTypeError
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

ASKED = re.compile(r"(cpu|answer|piece|file)=(\d+)")
# Where a page is cut: before its title, its body, and what follows its heading.
SEAMS = (rb"<title>", rb"<body", rb"</h1>")


@dataclass(frozen=True)
class SlowBrowser:
    """How slow: the processor's factor, and waits in ms."""

    cpu: int = 1
    answer: int = 0
    piece: int = 0
    file: int = 0

    @classmethod
    def read(cls, asked: str) -> SlowBrowser:
        """Read what was asked on the command line; ArgumentTypeError with a sentence where it cannot be read."""
        parts = [ASKED.fullmatch(part.strip()) for part in asked.split(",")]
        if not all(parts):
            raise ArgumentTypeError(
                f"--slow-browser takes cpu, answer, piece and file, as in cpu=8,answer=400; not {asked!r}."
            )
        return cls(**{part[1]: int(part[2]) for part in parts if part})

    def slow_page(self, page) -> None:
        """Slow the page's processor down."""
        if self.cpu > 1:
            page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": self.cpu})

    def slow_server(self, app: Callable) -> Callable[[dict, Callable], Iterable[bytes]]:
        """Return the WSGI application with waits before and between what it answers."""

        def slowed(environ: dict, start_response: Callable) -> Iterator[bytes]:
            wait(self.answer + (self.file if environ["PATH_INFO"].startswith("/static/") else 0))
            given: list = []
            answer = app(environ, lambda *said: given.extend(said))
            whole = b"".join(answer)
            if hasattr(answer, "close"):
                answer.close()
            start_response(*given)
            pieces = (
                pieces_of(whole)
                if self.piece and "text/html" in dict(given[1]).get("Content-Type", "")
                else [whole]
            )
            for number, piece in enumerate(pieces):
                if number:
                    wait(self.piece)
                yield piece

        return slowed


def wait(most: int) -> None:
    """Wait between none and twice so many ms."""
    if most:
        time.sleep(random.uniform(0, 2 * most) / 1000)


def pieces_of(page: bytes) -> list[bytes]:
    """Cut a page at its seams and once more in the middle of what is left."""
    pieces = []
    for seam in SEAMS:
        before, found, after = page.partition(seam)
        if found:
            pieces.append(before)
            page = found + after
    half = len(page) // 2
    return [*pieces, page[:half], page[half:]]
