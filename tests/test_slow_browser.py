"""The slow phone of the browser tests: what may be asked, and that a page comes whole however it is cut."""

from __future__ import annotations

from argparse import ArgumentTypeError

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
