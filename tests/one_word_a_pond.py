"""How each pond of the demo stands, in words, as every page, print and export has it: they must agree."""

from __future__ import annotations

import csv
import html
import io
import re
from collections.abc import Iterator

from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook

from ponds.roles import READER, give_role
from tests.demo_stories import Loaded

Said = dict[tuple[str, str], str]
HEADING = "How it stands"


def every_page_says_the_same_of_a_pond(farm: Loaded) -> None:
    """Read each place where a pond's state is said in words, and hold all against the Ponds list."""
    reader, _ = User.objects.get_or_create(username="heron")
    give_role(reader, READER)
    client = Client()
    client.force_login(reader, backend="django.contrib.auth.backends.ModelBackend")
    ponds = _exported(client, reverse("stock:pond-list"))
    month = f"{farm.today:%Y-%m}"
    for said in (
        _exported(client, reverse("stock:farm-year")),
        _exported(client, reverse("stock:review", args=[month])),
        _printed(client, reverse("stock:review", args=[month])),
        _pictured(client),
        _on_pages(client, ponds),
        _on_reviews(client, month, ponds),
    ):
        # A kind that neither stood nor moved may be left out, never said otherwise.
        assert said, "nothing was read"
        assert said == {where: words for where, words in ponds.items() if where in said}
        assert {where for where, words in ponds.items() if words != "empty"} <= set(said)
    _today_says_nothing_that_the_list_hides(client, ponds)


def _exported(client: Client, address: str) -> Said:
    answer = client.get(address, {"_export": "csv"})
    content = b"".join(answer.streaming_content) if answer.streaming else answer.content
    rows = csv.DictReader(io.StringIO(content.decode("utf-8-sig")))
    return {(row["Pond"], row["Kind"]): row[HEADING] for row in rows}


def _tables(workbook: bytes) -> Iterator[dict[str, object]]:
    """Yield the rows of all tables that have the column, as the workbook has them."""
    for sheet in load_workbook(io.BytesIO(workbook)):
        heading: tuple = ()
        for row in sheet.iter_rows(values_only=True):
            if HEADING in row:
                heading = row
            elif heading and row[0] and row[heading.index(HEADING)]:
                yield {
                    "sheet": sheet.title,
                    **{str(name): cell for name, cell in zip(heading, row, strict=True) if name},
                }
            else:
                heading = ()


def _printed(client: Client, address: str) -> Said:
    answer = client.get(address, {"as": "xlsx"})
    return {(str(row["Pond"]), str(row["Kind"])): str(row[HEADING]) for row in _tables(answer.content)}


def _pictured(client: Client) -> Said:
    """The picture has room for one word, which must be the worst: the list's first."""
    panels = client.get(reverse("stock:farm-picture")).context["panels"]
    ponds = _exported(client, reverse("stock:pond-list"))
    said = {}
    for _, (code, kind, worst, *_) in panels:
        words = ponds[code, kind]
        assert worst == words.partition(";")[0], (code, kind, worst, words)
        said[code, kind] = words
    return said


def _on_pages(client: Client, ponds: Said) -> Said:
    """The head of each pond's page, its tags, its printed sheet and its workbook."""
    said: Said = {}
    for code in dict.fromkeys(code for code, _ in ponds):
        answer = client.get(reverse("stock:pond-detail", args=[code]))
        of_pond = _tags(answer.content.decode())
        lede = html.unescape(answer.content.decode()).partition("</h1>")[2][:2000]
        for kind, words in of_pond.items():
            assert f"; {words} by the " in lede, (code, kind, words)
        sheet = client.get(reverse("stock:pond-sheet", args=[code]), {"as": "xlsx"})
        printed = {str(row["Kind"]): str(row[HEADING]) for row in _tables(sheet.content)}
        assert of_pond == {kind: words for kind, words in printed.items() if words != "empty"}, code
        said |= {(code, kind): words for kind, words in of_pond.items()}
    return said


def _on_reviews(client: Client, month: str, ponds: Said) -> Said:
    said: Said = {}
    for code in dict.fromkeys(code for code, _ in ponds):
        page = client.get(reverse("stock:review-pond", args=[month, code])).content.decode()
        said |= {(code, kind): words for kind, words in _tags(page).items()}
    return said


def _tags(page: str) -> dict[str, str]:
    """Return kind -> the words of its tags, in their order."""
    found = {}
    for section in page.split('<section class="pond-kind"')[1:]:
        kind = html.unescape(re.search(r"<h2[^>]*>([^<]+)", section)[1]).strip()  # type: ignore[index]
        if (line := re.search(r'<p class="tags">(.*?)</p>', section, re.DOTALL)) is not None:
            found[kind] = "; ".join(
                html.unescape(word) for word in re.findall(r"<span[^>]*>([^<]+)</span>", line[1])
            )
    return found


def _today_says_nothing_that_the_list_hides(client: Client, ponds: Said) -> None:
    waiting = client.get(reverse("stock:pond-list")).context["todo"].waiting
    watch = (
        "more deaths in a month",
        "deaths rising",
        "mostly females died",
        "mostly males died",
        "deaths after a batch came",
        "missing at the count",
    )
    words_for = {"Losing heads": ("losing heads",), "Watch": watch}
    for line in waiting:
        for code, kind in (
            re.findall(r"^Pond (\w+), ([^:,]+)[:,]", line.sentence) if line.about in words_for else ()
        ):
            assert any(word in ponds[code, kind] for word in words_for[line.about]), (line, ponds[code, kind])
