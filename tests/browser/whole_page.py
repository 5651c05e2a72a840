"""What may be read of a page once, without asking again: only when all of it is there.

After a press the browser goes over to the next page when its first bytes have come; title, headings, buttons and
scripts come later. So a test first sees, with `expect(...)` or `wait_for()`, something that only the next page has, and
reads the rest with `expect(...)`, which asks again until it holds. What cannot be asked that way (how wide the page
runs, that something is not on it, how many pages it prints) is read through here.
"""

from __future__ import annotations


def whole(page):
    """Wait until the page in sight is there to its end and its scripts have run; return it."""
    page.wait_for_load_state()
    return page


def width_of(page) -> int:
    """Return how wide the whole page runs, in CSS pixels."""
    return whole(page).evaluate("() => document.documentElement.scrollWidth")


def resize(page, width: int, height: int) -> None:
    """Give the window a size, and wait until the page has it."""
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_function("(width) => window.innerWidth === width", arg=width)
