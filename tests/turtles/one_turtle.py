"""A farm with one marked turtle, for the tests of its page."""

import datetime as dt
import io
import uuid

from PIL import Image

from stock import ledger
from stock.drafts import BatchDraft, Draft, Line, MarkDraft
from stock.marks.positions import mask_of
from stock.models import Mark, Turtle
from tests.factories import KindFactory, PondFactory

TODAY = dt.date(2026, 6, 30)
MAY = dt.date(2024, 5, 1)
CHIP = "985113007399202"


def marked_turtle(person=None, code="+1", kind=None, pond=None):
    """Buy five females and mark one, through the ledger."""
    kind = kind or KindFactory(scientific_name="Trachemys scripta elegans")
    pond = pond or PondFactory(kinds=[kind])
    batch = f"batch-{uuid.uuid4().hex[:8]}"
    draft = Draft(
        key=uuid.uuid4(),
        happened_on=MAY,
        lines=(Line(kind.code, "FEMALE", "BOUGHT", pond.code, 5, batch=batch),),
        batches=(BatchDraft(batch, "BOUGHT", MAY, party="A farm upstream"),),
        marks=(MarkDraft(code, kind.code, "FEMALE", pond.code, batch=batch),),
    )
    ledger.record(draft, by=person, today=TODAY)
    return Turtle.objects.order_by("-pk").first()


def put_mark(turtle, form="NOTCH", **given):
    """Put a mark on a turtle, as the register writes it."""
    if form == "NOTCH":
        given = {"scheme": "NA16", "mask": mask_of(["R2", "R11", "L10"]), **given}
    if form == "TAG":
        given = {"family": "iso", "tag": CHIP, **given}
    return Mark.objects.create(
        turtle=turtle, kind=turtle.kind, form=form, put_on_on=MAY, by_name="wren", **given
    )


def picture(color="olive", size=(90, 60)):
    """Return a small picture as a camera would send it."""
    written = io.BytesIO()
    Image.new("RGB", size, color).save(written, "JPEG")
    return written.getvalue()
