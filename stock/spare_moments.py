"""Work that may wait, done for a moment after a posting and then left alone for a while. Knows nothing of the work."""

from __future__ import annotations

import time
from collections.abc import Callable


class SpareMoments:
    """
    Moments in which this process does one kind of work, each followed by a rest.

    Parameters
    ----------
    rest : float
        The rest after a moment, as a multiple of its length.
    """

    def __init__(self, rest: float) -> None:
        self.rest = rest
        self.until = 0.0
        """Until when the work is left alone (seconds of the monotonic clock)."""

    def use(self, work: Callable[[], object]) -> None:
        """Do the work now, unless it rests."""
        began = time.monotonic()
        if began < self.until:
            return
        work()
        ended = time.monotonic()
        self.until = ended + self.rest * (ended - began)
