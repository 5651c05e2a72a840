"""What a marked turtle carries and what is known of it: marks, sex, measures, photographs, nests.

Every row is written once. Codes are never used again, which the database itself holds: a notch once a kind, a tag
number once. A tag met on a second animal is a conflict: recorded, with its count in `conflict`.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel, Kind, NestDay
from ponds.models.append_only import MendedModel, void_replaces
from stock.models.marks import Sex, Turtle
from stock.models.moves import Move


class SignedRow(AppendOnlyModel):
    """A row that says who wrote it and when.

    `key` was made where its form was shown, so that one sent twice is written once; null where a move wrote it, whose
    key that is. Unconditional with nulls: see the trap on SQLite's guard against replaced rows.
    """

    key = models.UUIDField(null=True, unique=True, editable=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        abstract = True


class SchemeConfirmation(SignedRow):
    """Somebody held a notch scheme against the printed figure before its first use.

    `layout_sha256` is the scheme's table as it stood then: a table that changed is confirmed anew.
    """

    scheme = models.CharField(max_length=20)
    layout_sha256 = models.CharField(max_length=64)
    confirmed_on = models.DateField()
    against = models.CharField(max_length=200, help_text="The figure it was held against.")

    class Meta:
        indexes = [models.Index(fields=["scheme"], name="stock_schemeconfirm_scheme")]

    def __str__(self) -> str:
        return f"{self.scheme} confirmed on {self.confirmed_on:%Y-%m-%d}"


class Mark(SignedRow):
    """One mark put on a turtle: a notch code (its positions as a mask), a tag, paint, or another mark."""

    class Form(models.TextChoices):
        NOTCH = "NOTCH", "notches"
        TAG = "TAG", "tag"
        PAINT = "PAINT", "paint"
        OTHER = "OTHER", "other mark"

    turtle = models.ForeignKey(Turtle, on_delete=models.PROTECT, related_name="marks")
    move = models.ForeignKey(Move, null=True, on_delete=models.PROTECT, related_name="marks")
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="+")
    form = models.CharField(max_length=5, choices=Form)
    scheme = models.CharField(max_length=20, blank=True)
    # The same place on the rim is the same bit in every scheme (`stock/marks/positions.py`).
    mask = models.PositiveIntegerField(null=True)
    family = models.CharField(max_length=14, blank=True)
    tag = models.CharField(max_length=40, null=True)  # noqa: DJ001 (no tag is not a tag of no characters)
    text = models.CharField(max_length=40, blank=True)
    site = models.CharField(max_length=40, blank=True, help_text="Where on the body.")
    put_on_on = models.DateField()
    conflict = models.PositiveSmallIntegerField(
        default=0, help_text="How many turtles had this code before; 0 unless it was met on a second animal."
    )

    class Meta:
        indexes = [
            models.Index(fields=["mask"], name="stock_mark_mask"),
            models.Index(fields=["tag"], name="stock_mark_tag"),
            models.Index(fields=["text"], name="stock_mark_text"),
        ]
        constraints = [
            # Without a mask or a tag these are null, and nulls are never alike.
            models.UniqueConstraint(fields=["kind", "mask", "conflict"], name="stock_mark_notch_once"),
            models.UniqueConstraint(fields=["family", "tag", "conflict"], name="stock_mark_tag_once"),
            models.CheckConstraint(
                condition=(Q(form="NOTCH", mask__gt=0, tag=None, text="") & ~Q(scheme=""))
                | (
                    Q(form="TAG", mask=None, scheme="", text="", tag__isnull=False)
                    & ~Q(tag="")
                    & ~Q(family="")
                )
                | (Q(form__in=["PAINT", "OTHER"], mask=None, scheme="", tag=None, family="") & ~Q(text="")),
                name="stock_mark_one_form",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.form.lower()} {self.tag or self.text or self.mask}"


class MarkEvent(SignedRow):
    """What became of a mark since it was put on; nothing is overwritten, the marks put on least of all."""

    class What(models.TextChoices):
        READ = "READ", "read"
        WORN = "WORN", "read with doubt"
        RENEWED = "RENEWED", "notched again"
        LOST = "LOST", "lost or failed"
        REMOVED = "REMOVED", "taken off"
        MISTAKEN = "MISTAKEN", "typed by mistake"

    mark = models.ForeignKey(Mark, on_delete=models.PROTECT, related_name="events")
    # The move by which a turtle left the marked; while that move is taken back the event does not hold.
    move = models.ForeignKey(Move, null=True, on_delete=models.PROTECT, related_name="mark_events")
    what = models.CharField(max_length=8, choices=What)
    happened_on = models.DateField()
    # Of a notch code: the scutes that were faint or could not be read.
    faint_mask = models.PositiveIntegerField(null=True)

    class Meta:
        indexes = [models.Index(fields=["mark", "happened_on"], name="stock_markevent_mark")]
        constraints = [
            models.CheckConstraint(
                condition=Q(what__in=["READ", "WORN", "RENEWED", "LOST", "REMOVED", "MISTAKEN"]),
                name="stock_markevent_what_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what.lower()} on {self.happened_on:%Y-%m-%d}"


class SexStep(SignedRow):
    """What somebody took a turtle's sex to be, by what method and how sure; the latest one holds."""

    class Method(models.TextChoices):
        CLAWS = "CLAWS", "claws"
        TAIL_VENT = "TAIL_VENT", "tail and vent"
        SIZE = "SIZE", "size"
        EGGS = "EGGS", "eggs or palpation"
        ULTRASOUND = "ULTRASOUND", "ultrasound"
        ENDOSCOPY = "ENDOSCOPY", "endoscopy"
        EVERSION = "EVERSION", "eversion"
        DISSECTION = "DISSECTION", "dissection"
        NOT_KNOWN = "NOT_KNOWN", "not known"

    class Certainty(models.TextChoices):
        CERTAIN = "CERTAIN", "certain"
        PROBABLE = "PROBABLE", "probable"
        DOUBTFUL = "DOUBTFUL", "doubtful"

    turtle = models.ForeignKey(Turtle, on_delete=models.PROTECT, related_name="sex_steps")
    sex = models.CharField(max_length=13, choices=Sex)
    method = models.CharField(max_length=10, choices=Method, default=Method.NOT_KNOWN)
    certainty = models.CharField(max_length=8, choices=Certainty, default=Certainty.PROBABLE)
    sexed_on = models.DateField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(sex__in=Sex.values), name="stock_sexstep_sex_known"),
            models.CheckConstraint(
                condition=Q(
                    method__in=[
                        "CLAWS", "TAIL_VENT", "SIZE", "EGGS", "ULTRASOUND", "ENDOSCOPY", "EVERSION", "DISSECTION",
                        "NOT_KNOWN",
                    ]
                ),
                name="stock_sexstep_method_known",
            ),
            models.CheckConstraint(
                condition=Q(certainty__in=["CERTAIN", "PROBABLE", "DOUBTFUL"]),
                name="stock_sexstep_certainty_known",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.sex.lower()} on {self.sexed_on:%Y-%m-%d}"


class Measure(MendedModel):
    """One measure of one turtle, as typed, with the unit it was typed in, and stored in mm or g."""

    turtle = models.ForeignKey(Turtle, on_delete=models.PROTECT, related_name="measures")
    what = models.CharField(max_length=8)
    measured_on = models.DateField()
    typed = models.CharField(max_length=20)
    unit = models.CharField(max_length=8)
    stored = models.PositiveIntegerField(help_text="In millimetres or grams.")
    observer = models.CharField(max_length=150, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["turtle", "what", "measured_on"], name="stock_measure_turtle"),
            models.Index(fields=["turtle", "measured_on"], name="stock_measure_last"),
        ]
        constraints = [void_replaces("stock_measure_void_replaces")]

    def __str__(self) -> str:
        return f"{self.what} {self.typed} {self.unit}"


class Photograph(MendedModel):
    """A photograph of a turtle; `file` is the name of the picture as it is kept (`stock/photos.py`)."""

    turtle = models.ForeignKey(Turtle, on_delete=models.PROTECT, related_name="photographs")
    file = models.CharField(max_length=64)
    taken_on = models.DateField()
    shows = models.CharField(max_length=60, blank=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()

    class Meta:
        indexes = [models.Index(fields=["turtle", "taken_on"], name="stock_photograph_turtle")]
        constraints = [void_replaces("stock_photograph_void_replaces")]

    def __str__(self) -> str:
        return f"photograph of {self.taken_on:%Y-%m-%d}"


class NestOfTurtle(MendedModel):
    """A nest of the nest book that a marked female was seen to dig."""

    nest_day = models.ForeignKey(NestDay, on_delete=models.PROTECT, related_name="of_turtles")
    turtle = models.ForeignKey(Turtle, on_delete=models.PROTECT, related_name="nests")
    eggs = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        constraints = [void_replaces("stock_nestofturtle_void_replaces")]

    def __str__(self) -> str:
        return f"nest of turtle {self.turtle_id}"
