"""What a mark is called on screen, and the sum of a notch scheme's table. Pure."""

from __future__ import annotations

import hashlib
import json

from stock.marks.notch import Scheme


def layout_sha256(scheme: Scheme) -> str:
    """Return the sum of a scheme's table: a table that changed has another one, and is confirmed anew."""
    rows = [(row.position, row.symbol, row.usable) for row in scheme.rows]
    text = json.dumps([scheme.key, scheme.style, scheme.marginals, rows], separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
