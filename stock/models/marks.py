"""Marked turtles inside the head counts: where each stands, and the steps that brought it there."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from ponds.models import AppendOnlyModel, Kind
from stock.models.batches import Batch
from stock.models.cells import Cell
from stock.models.hauls import Haul
from stock.models.moves import Entry, Move


class Sex(models.TextChoices):
    FEMALE = "FEMALE", "female"
    MALE = "MALE", "male"
    INDETERMINATE = "INDETERMINATE", "not known"


class Turtle(models.Model):
    """One marked turtle. `cell` is where its latest step put it: empty while its whereabouts are not known.

    `code` is its number in the register, the same as its id, never used again; its marks are rows of their own.
    `sex` is what its latest sex step says.
    """

    code = models.CharField(max_length=40, unique=True)
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="+")
    cell = models.ForeignKey(Cell, null=True, on_delete=models.PROTECT, related_name="turtles")
    last_seen_on = models.DateField()
    first_marked_on = models.DateField(null=True)
    batch = models.ForeignKey(Batch, null=True, on_delete=models.PROTECT, related_name="turtles")
    sex = models.CharField(max_length=13, choices=Sex, default=Sex.INDETERMINATE)

    never_deleted = True

    class Meta:
        indexes = [
            models.Index(fields=["cell", "last_seen_on"], name="stock_turtle_longest_unseen"),
            models.Index(fields=["last_seen_on", "id"], name="stock_turtle_seen"),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(sex__in=Sex.values), name="stock_turtle_sex_known"),
        ]

    def __str__(self) -> str:
        return self.code


class MarkStep(AppendOnlyModel):
    """A marked turtle's step from one cell to another, inside a move. An empty cell: not among the marked there."""

    class How(models.TextChoices):
        MARKED = "MARKED", "marked"
        MOVED = "MOVED", "went with a move"
        SEEN = "SEEN", "seen there"
        FOUND = "FOUND", "found where the book did not have it"
        LOST_MARKS = "LOST_MARKS", "lost all its marks"
        NOT_KNOWN = "NOT_KNOWN", "whereabouts not known"
        REVERSED = "REVERSED", "its move was reversed"

    turtle = models.ForeignKey(Turtle, on_delete=models.PROTECT, related_name="steps")
    move = models.ForeignKey(Move, on_delete=models.PROTECT, related_name="mark_steps")
    entry = models.ForeignKey(Entry, null=True, on_delete=models.PROTECT, related_name="mark_steps")
    source = models.ForeignKey(Cell, null=True, on_delete=models.PROTECT, related_name="+")
    target = models.ForeignKey(Cell, null=True, on_delete=models.PROTECT, related_name="+")
    how = models.CharField(max_length=10, choices=How)
    booked_on = models.DateField()

    class Meta:
        indexes = [
            models.Index(fields=["source", "booked_on"], name="stock_markstep_out"),
            models.Index(fields=["target", "booked_on"], name="stock_markstep_in"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(source__isnull=False) | Q(target__isnull=False), name="stock_markstep_somewhere"
            ),
            models.CheckConstraint(
                condition=Q(
                    how__in=["MARKED", "MOVED", "SEEN", "FOUND", "LOST_MARKS", "NOT_KNOWN", "REVERSED"],
                ),
                name="stock_markstep_how_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.how.lower()} on {self.booked_on:%Y-%m-%d}"


class HaulTurtle(AppendOnlyModel):
    """A marked turtle that a haul brought, in the order of the scans, whatever became of it."""

    haul = models.ForeignKey(Haul, on_delete=models.PROTECT, related_name="turtles")
    turtle = models.ForeignKey(Turtle, on_delete=models.PROTECT, related_name="hauls_seen_in")
    place = models.PositiveSmallIntegerField(help_text="Its place among the scans, from 0.")
    is_new = models.BooleanField(default=False, help_text="Marked at this haul.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["haul", "turtle"], name="stock_haulturtle_once"),
            models.UniqueConstraint(fields=["haul", "place"], name="stock_haulturtle_place_once"),
        ]

    def __str__(self) -> str:
        return f"turtle {self.turtle_id} in haul {self.haul_id}"
