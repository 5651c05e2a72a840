"""The demo farm's marked turtles: six of them, with measures over years, a worn notch and a chip met twice."""

from __future__ import annotations

import datetime as dt
import io
import math
import uuid
from collections.abc import Mapping

from django.contrib.auth.models import User
from PIL import Image, ImageDraw

from stock import photos, turtle_book, turtle_records
from stock.demo_sheets import CLASS_OF, DemoSheets, Row, demo_key
from stock.drafts import PutOn, SexDraft
from stock.marks import notch, tag
from stock.marks.measures import read_measure
from stock.models import Mark, Turtle

SCHEME = notch.LETTER_SCHEME
WORN_TURTLE, WORN_SCUTES, WORN_ON = "3", ("R9",), "Y-1 04-23"
PICTURED_TURTLE = "1"


def make_turtles(sheets: DemoSheets, *, people: Mapping[str, User], today: dt.date) -> None:
    """Mark the turtles whose day has come, write their measures, a reading with doubt and a drawn picture."""
    rows = sheets.past_rows("turtles")
    if not rows:
        return
    turtle_book.confirm_scheme(
        SCHEME.key, against="A figure of the demo farm, invented", by=people["wren"], today=today
    )
    turtles = {row["turtle"]: _mark(row, sheets, people, today) for row in rows}
    for row in sheets.past_rows("turtle_measures"):
        turtle_records.record_measures(
            turtles[row["turtle"]],
            [read_measure(row["what"], row["typed"])],
            measured_on=sheets.days.day(row["day"]),
            key=_key("measure", row["turtle"], row["what"], row["day"]),
            by=people[row["by"]],
            today=today,
            observer=row["by"],
            note=row["note"],
        )
    if WORN_TURTLE in turtles and sheets.days.has_come(WORN_ON):
        turtle_book.note_mark(
            Mark.objects.get(turtle=turtles[WORN_TURTLE], form="NOTCH"),
            "WORN",
            key=_key("worn"),
            day=sheets.days.day(WORN_ON),
            by=people["ibis"],
            today=today,
            faint_mask=notch.mask_of(WORN_SCUTES),
            note="filled in as she grew",
        )
    _picture(turtles[PICTURED_TURTLE], sheets, people["ibis"], today)


def _mark(row: Row, sheets: DemoSheets, people: Mapping[str, User], today: dt.date) -> Turtle:
    put_on = []
    if row["notch"]:
        mask = notch.mask_of(notch.decode(SCHEME, row["notch"]))
        put_on.append(PutOn("NOTCH", scheme=SCHEME.key, mask=mask))
    if row["chip"]:
        chip = tag.parse(row["chip"])
        put_on.append(
            PutOn(
                "TAG",
                family=chip.family,
                tag=chip.code,
                site="left hind leg",
                is_conflict=row["conflict"] == "yes",
            )
        )
    of_class = CLASS_OF[f"{row['class']}s"]
    turtle, _ = turtle_book.register(
        key=_key("turtle", row["turtle"]),
        kind=row["kind"],
        of_class=of_class,
        pond=row["pond"],
        day=sheets.days.day(row["day"]),
        put_on=tuple(put_on),
        by=people[row["by"]],
        today=today,
        sex=SexDraft(of_class, row["sex method"], row["certainty"]),
        note=row["note"],
    )
    return turtle


def _picture(turtle: Turtle, sheets: DemoSheets, by: User, today: dt.date) -> None:
    turtle_records.record_photograph(
        turtle,
        photos.read_photo(drawn_shell(notch.decode(SCHEME, "ABC"))),
        taken_on=sheets.days.day("Y-1 04-16"),
        key=_key("picture"),
        by=by,
        today=today,
        shows="notches, drawn for the demo farm",
    )


def _key(*names: str) -> uuid.UUID:
    return demo_key(" ".join(("turtles", *names)))


def drawn_shell(notched: tuple[str, ...]) -> bytes:
    """Draw a shell from above on a measuring board, invented, with these scutes notched; PNG."""
    picture = Image.new("RGB", (900, 700), (206, 196, 170))
    draw = ImageDraw.Draw(picture)
    for step in range(0, 900, 45):
        draw.line((step, 660, step, 700 if step % 225 else 640), fill=(60, 60, 60), width=3)
    middle, across, down = (450, 335), 235, 285

    def at(turn: float, share: float = 1.0) -> tuple[float, float]:
        return middle[0] + across * share * math.sin(turn), middle[1] - down * share * math.cos(turn)

    draw.ellipse((middle[0] - 60, 5, middle[0] + 60, 110), fill=(78, 92, 58))
    draw.ellipse(
        (middle[0] - across, middle[1] - down, middle[0] + across, middle[1] + down), fill=(64, 78, 50)
    )
    inner = 0.78
    for side in (1, -1):
        for place in range(13):
            turn = side * (0.1 + place * (math.pi - 0.1) / 12)
            draw.line((*at(turn), *at(turn, inner)), fill=(30, 38, 24), width=4)
    box = (
        middle[0] - across * inner,
        middle[1] - down * inner,
        middle[0] + across * inner,
        middle[1] + down * inner,
    )
    draw.ellipse(box, outline=(30, 38, 24), width=4)
    for row in range(1, 5):
        height = middle[1] - down * inner + row * 2 * down * inner / 5
        half = across * inner * math.sqrt(max(0.0, 1 - ((height - middle[1]) / (down * inner)) ** 2))
        draw.line((middle[0] - half, height, middle[0] + half, height), fill=(30, 38, 24), width=3)
    for name in notched:
        side, place = (1 if name[0] == "R" else -1), int(name[1:])
        turn = side * (0.1 + (place - 0.5) * (math.pi - 0.1) / 12)
        draw.polygon([at(turn - 0.06, 1.02), at(turn, 0.89), at(turn + 0.06, 1.02)], fill=(206, 196, 170))
    written = io.BytesIO()
    picture.save(written, "PNG")
    return written.getvalue()
