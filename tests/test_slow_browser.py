"""Browser tests wait for what they read; and the slow phone that finds those which do not cuts no page short."""

from __future__ import annotations

import ast
import re
from argparse import ArgumentTypeError
from pathlib import Path

import pytest

from tests.slow_browser import SlowBrowser, pieces_of

PAGE = b"<!doctype html><title>Ponds</title></head><body><h1>Ponds</h1><p>Two.</p><p>Three.</p></body>"


def test_what_is_asked_is_read_in_any_order():
    assert SlowBrowser.read("answer=400, cpu=8") == SlowBrowser(cpu=8, answer=400)


@pytest.mark.parametrize("asked", ["8,400", "cpu=fast", "cpu", "speed=2"])
def test_what_cannot_be_read_is_refused_in_a_sentence(asked):
    with pytest.raises(
        ArgumentTypeError, match=r"takes cpu, answer, piece and file, as in cpu=8,answer=400; not"
    ):
        SlowBrowser.read(asked)


@pytest.mark.parametrize("page", [PAGE, b"", b"saved", PAGE.replace(b"<h1>", b"").replace(b"</h1>", b"")])
def test_a_page_in_pieces_is_the_same_page(page):
    assert b"".join(pieces_of(page)) == page


def test_a_page_is_cut_before_its_title_its_body_and_what_follows_its_heading():
    first, head, heading, *rest = pieces_of(PAGE)
    assert (first, head) == (b"<!doctype html>", b"<title>Ponds</title></head>")
    assert heading == b"<body><h1>Ponds"
    assert len(rest) == 2


def test_the_server_answers_the_same_slowed_down():
    given = []

    def app(environ, start_response):
        start_response(
            "200 OK", [("Content-Type", "text/html; charset=utf-8"), ("Content-Length", str(len(PAGE)))]
        )
        return [PAGE[:30], PAGE[30:]]

    slowed = SlowBrowser(answer=1, piece=1, file=1).slow_server(app)
    sent = list(slowed({"PATH_INFO": "/static/a.html"}, lambda *said: given.append(said)))
    assert b"".join(sent) == PAGE
    assert len(sent) == 5
    assert given == [
        ("200 OK", [("Content-Type", "text/html; charset=utf-8"), ("Content-Length", str(len(PAGE)))])
    ]


# What Playwright answers at once about a page that may not be there yet, and for which `expect(...)` asks again.
READS_AT_ONCE = {
    "content",
    "input_value",
    "is_checked",
    "is_disabled",
    "is_editable",
    "is_enabled",
    "is_hidden",
    "is_visible",
    "text_content",
    "title",
}
SLEEPS = {"sleep", "wait_for_timeout"}


def reads_at_once(code: str) -> list[str]:
    """Return what a test asserts of a page as it is this moment, and where it sleeps, with the line."""
    found = []
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.Call) and getattr(node.func, "attr", "") in SLEEPS:
            found.append(f"line {node.lineno}: {ast.unparse(node)}")
        if not isinstance(node, ast.Assert):
            continue
        for part in ast.walk(node.test):
            is_read = isinstance(part, ast.Call) and getattr(part.func, "attr", "") in READS_AT_ONCE
            # The address of an answer to a test client is there; a page's own is another a moment later.
            is_address = (
                isinstance(part, ast.Attribute) and part.attr == "url" and isinstance(part.value, ast.Name)
            )
            is_counted = (
                isinstance(part, ast.Call)
                and getattr(part.func, "attr", "") == "count"
                and re.search(r"\.(get_by_\w+|locator)\(", ast.unparse(part))
            )
            if is_read or is_counted or (is_address and part.value.id != "live_server"):
                found.append(f"line {part.lineno}: {ast.unparse(part)}")
    return found


@pytest.mark.parametrize(
    ("code", "reads"),
    [
        ("assert page.title() == 'Ponds'", 1),
        ("assert desk.url == there and page.locator('li').count() == 3", 2),
        ("assert not page.get_by_text('Needs you').is_visible()", 1),
        ("page.wait_for_timeout(200)", 1),
        ("expect(page).to_have_title('Ponds')", 0),
        ("assert Move.objects.count() == 1 and client.post('/log/').url == live_server.url", 0),
        ("best = int(page.get_by_label('Pond A').input_value())", 0),
    ],
)
def test_a_read_at_once_is_seen_where_there_is_one(code, reads):
    assert len(reads_at_once(code)) == reads


def test_browser_tests_wait_for_what_they_assert():
    files = sorted(Path(__file__).with_name("browser").glob("*.py"))
    assert len(files) > 15
    found = {path.name: reads_at_once(path.read_text(encoding="utf-8")) for path in files}
    assert {name: reads for name, reads in found.items() if reads} == {}
