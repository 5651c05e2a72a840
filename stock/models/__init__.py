"""The register's tables, by subject; import them from here."""

from stock.models.batches import Batch, Paper
from stock.models.cells import Cell, HeadClass, KeptFlows, MonthClose, MonthEnd, Outside, StockMix
from stock.models.counts import Count, CountHaul, CountReversal
from stock.models.hauls import Haul, HaulLine
from stock.models.marks import HaulTurtle, MarkStep, Sex, Turtle
from stock.models.moves import Cause, Entry, Move, Reason
from stock.models.placings import PlacingEnd, PlacingStop, PlacingTask, SavedPlacing
from stock.models.reviews import PondReview
from stock.models.surveys import Survey, SurveyHaul, SurveyMarked
from stock.models.tasks import LastLook, RefusedAside, RefusedPost, Task, TaskMove
from stock.models.turtles import (
    Mark,
    MarkEvent,
    Measure,
    NestOfTurtle,
    Photograph,
    SchemeConfirmation,
    SexStep,
)
from stock.models.watch import WatchNote

__all__ = [
    "Batch",
    "Cause",
    "Cell",
    "Count",
    "CountHaul",
    "CountReversal",
    "Entry",
    "Haul",
    "HaulLine",
    "HaulTurtle",
    "HeadClass",
    "KeptFlows",
    "LastLook",
    "Mark",
    "MarkEvent",
    "MarkStep",
    "Measure",
    "MonthClose",
    "MonthEnd",
    "Move",
    "NestOfTurtle",
    "Outside",
    "Paper",
    "Photograph",
    "PlacingEnd",
    "PlacingStop",
    "PlacingTask",
    "PondReview",
    "Reason",
    "RefusedAside",
    "RefusedPost",
    "SavedPlacing",
    "SchemeConfirmation",
    "Sex",
    "SexStep",
    "StockMix",
    "Survey",
    "SurveyHaul",
    "SurveyMarked",
    "Task",
    "TaskMove",
    "Turtle",
    "WatchNote",
]
