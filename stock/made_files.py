"""Files that take long to make: made while the page that asked shows how far it is, then kept for a day.

They lie in the data folder under a name that nobody guesses; whoever may read the book may have them.
"""

from __future__ import annotations

import re
import secrets
import time
from pathlib import Path

from django.conf import settings

KEPT_SECONDS = 24 * 60 * 60
_NAME = re.compile(r"[0-9a-f]{32}-[A-Za-z0-9.-]{1,80}\.(?:pdf|xlsx)")


def folder() -> Path:
    """Return where they are kept, made where it is not there."""
    kept = Path(settings.DATA_DIR) / "made"
    kept.mkdir(mode=0o700, exist_ok=True)
    return kept


def new_file(name: str) -> Path:
    """Return the path of a file to be made, "year-to-2026-11-25.pdf" say; files of days ago are removed first."""
    now = time.time()
    for old in folder().iterdir():
        if now - old.stat().st_mtime > KEPT_SECONDS:
            old.unlink(missing_ok=True)
    return folder() / f"{secrets.token_hex(16)}-{name}"


def made_file(name: str) -> Path | None:
    """Return a file by its name, or None where there is none, or none any more."""
    if not _NAME.fullmatch(name):
        return None
    path = folder() / name
    return path if path.is_file() else None
