"""What the log leaves out."""

from __future__ import annotations

import logging


def without_trace_of_refusal(record: logging.LogRecord) -> bool:
    """Let every record through; one of a page that somebody may not see loses its traceback, for nothing broke."""
    if getattr(record, "status_code", None) == 403:
        record.exc_info = record.exc_text = None
    return True
