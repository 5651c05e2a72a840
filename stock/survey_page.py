"""What the pages of a survey show of a reading: methods side by side, assumptions in words, figures drawn."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ponds.sums import sum_known
from ponds.svg_marks import figure_text
from stock.book import ClassHeads
from stock.charts import Chart, Interval, Series, bar_chart, interval_strip, line_chart
from stock.count_facts import Sexes, SinceLast, between
from stock.drafts import CLASSES, Z_95
from stock.estimators.estimate import Estimate, Status
from stock.estimators.sex_ratio import survey_ratio
from stock.estimators.survey import Assumption, Fit, Reading
from stock.models import Count, Haul
from stock.surveys import Figures, KindSurvey, Net, code_of

TAKES = {
    "drain-down": "every head in the pond was found",
    "two-sample": "none came or went between the hauls; marks stayed on; marked and unmarked are caught alike",
    "multi-haul": "none came or went over all the hauls; marks stayed on; every turtle is caught as easily in each",
    "removal": "what was caught stayed out; none came or went; every turtle is caught as easily in each pass",
    "catch-effort": "what was caught stayed out; the catch of one drag falls as the pond empties, and only so",
}


IN_SHORT = {
    "drain-down": "Drain-down",
    "chapman": "Chapman",
    "chapman-together": "Chapman, together",
    "petersen": "Petersen",
    "bailey": "Bailey",
    "schnabel-modified": "Schnabel, modified",
    "schnabel": "Schnabel",
    "schumacher-eschmeyer": "Schumacher, Eschm.",
    "carle-strub": "Carle and Strub",
    "mle": "Likelihood",
    "leslie": "Leslie",
    "leslie-half-catch": "Leslie, half catch",
}


@dataclass(frozen=True)
class MethodRow:
    """One method of the table: what it says just before its reference haul."""

    code: str
    words: str
    is_headline: bool
    heads: Estimate
    females: Estimate | None
    males: Estimate | None
    ratio: float | None
    ratio_lower: float | None
    ratio_upper: float | None
    chance: float | None
    takes: str
    state: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class AssumptionRow:
    """One assumption with the word and the tag for whether it holds."""

    words: str
    sentence: str
    state: str
    tag: str


@dataclass(frozen=True)
class HaulRow:
    """One haul of the survey as it bears on one kind."""

    haul: Haul
    place: int
    caught: dict[str, int]
    adults: int
    carrying: int | None
    newly_marked: int
    dead: int
    effort: str


@dataclass(frozen=True)
class KindPart:
    """One kind of a survey's page."""

    survey: KindSurvey
    methods: tuple[MethodRow, ...]
    assumptions: tuple[AssumptionRow, ...]
    hauls: tuple[HaulRow, ...]
    strip: Chart | None
    sexes: Chart | None
    fit: Chart | None
    fit_words: str
    low_confidence: bool

    @property
    def headline(self) -> MethodRow | None:
        return self.methods[0] if self.survey.reading.headline else None

    @property
    def is_by_sex(self) -> bool:
        head = self.survey.reading.headline
        return head is not None and head.by_sex

    @property
    def reference_day(self) -> dt.date | None:
        head = self.survey.reading.headline
        return self.survey.hauls[head.reference].happened_on if head else None


@dataclass(frozen=True)
class Preview:
    """What accepting one method would write, against the book and since the count before."""

    code: str
    words: str
    is_headline: bool
    is_drained: bool
    figures: Figures
    net: Net
    reference_day: dt.date
    book: ClassHeads
    since: SinceLast | None

    @property
    def half_width(self) -> float:
        return Z_95 * self.figures.adults_se

    @property
    def females_half(self) -> float | None:
        return None if self.figures.females_se is None else Z_95 * self.figures.females_se

    @property
    def males_half(self) -> float | None:
        return None if self.figures.males_se is None else Z_95 * self.figures.males_se

    @property
    def book_adults(self) -> int:
        return self.book.females + self.book.males + self.book.unsexed

    @property
    def against_book(self) -> float:
        """Heads counted beyond the book; below 0 where fewer were counted."""
        return self.figures.adults - self.book_adults


def kind_part(one: KindSurvey) -> KindPart:
    """Return what the survey's page shows of one kind."""
    rows = tuple(_method_row(reading, one.reading.headline) for reading in one.all_readings)
    head = one.reading.headline
    fit = _fit_chart(head) if head else None
    return KindPart(
        survey=one,
        methods=rows,
        assumptions=tuple(map(_assumption_row, one.reading.assumptions)),
        hauls=tuple(_haul_rows(one)),
        strip=_strip(rows) if len(rows) > 1 else None,
        sexes=_sexes_strip(rows[0]) if head else None,
        fit=fit,
        fit_words=head.fit.words if head and head.fit else "",
        low_confidence=bool(head and head.total.status in (Status.LOW_CONFIDENCE, Status.BOUNDED)),
    )


def previews(one: KindSurvey, last: Count | None, flows: Iterable, book: ClassHeads) -> list[Preview]:
    """Return what each acceptable method would write; the headline first."""
    flows = list(flows)
    found = []
    for reading in one.can_be_accepted:
        figures = one.figures(reading)
        counted = Sexes(figures.females or 0.0, figures.males or 0.0, figures.adults)
        since = between(last, counted, figures.adults_se**2, flows, one.as_of) if last else None
        found.append(
            Preview(
                code=code_of(reading),
                words=reading.words,
                is_headline=reading is one.reading.headline,
                is_drained=reading.method == "drain-down",
                figures=figures,
                net=one.net(reading),
                reference_day=one.hauls[reading.reference].happened_on,
                book=book,
                since=since,
            )
        )
    return found


def ratio_of(reading: Reading) -> tuple[float | None, float | None, float | None]:
    """Return females per male by a reading with its 95 % limits; None where there are none."""
    found = survey_ratio(reading)
    return (None, None, None) if found is None else (found.value, found.lower, found.upper)


def _method_row(reading: Reading, headline: Reading | None) -> MethodRow:
    ratio, lower, upper = ratio_of(reading)
    total = reading.total
    state = {
        Status.OK: "",
        Status.LOW_CONFIDENCE: "low confidence",
        Status.BOUNDED: "only a bound",
        Status.NO_ESTIMATE: "no estimate",
    }[Status(total.status)]
    notes = list(total.notes)
    for part in (reading.females, reading.males):
        notes += [note for note in (part.notes if part else ()) if note not in notes]
    return MethodRow(
        code=code_of(reading), words=reading.words, is_headline=reading is headline, heads=total,
        females=reading.females, males=reading.males, ratio=ratio, ratio_lower=lower, ratio_upper=upper,
        chance=reading.capture_probability, takes=TAKES.get(reading.method, ""), state=state, notes=tuple(notes),
    )  # fmt: skip


def _assumption_row(one: Assumption) -> AssumptionRow:
    if one.holds is None:
        state, tag = "cannot be told", "tag-warn"
    elif one.holds:
        state, tag = "holds", "tag-good"
    else:
        state, tag = "does not hold", "tag-bad" if one.is_fatal else "tag-warn"
    return AssumptionRow(one.words, one.sentence, state, tag)


def _haul_rows(one: KindSurvey) -> Iterable[HaulRow]:
    for place, (haul, catch) in enumerate(zip(one.hauls, one.catches, strict=True), start=1):
        caught = {of_class: catch.caught.get(of_class, 0) for of_class in CLASSES}
        yield HaulRow(
            haul=haul,
            place=place,
            caught=caught,
            adults=sum(caught.values()) - caught["JUVENILE"],
            carrying=sum_known(catch.carrying.values()),
            newly_marked=sum(catch.newly_marked.values()),
            dead=sum(catch.dead.values()),
            effort=haul.effort_typed,
        )


def _interval(label: str, one: Estimate | None) -> Interval:
    if one is None:
        return Interval(label, None, None, None)
    return Interval(label, one.value, one.lower, one.upper)


def _strip(rows: Sequence[MethodRow]) -> Chart:
    words = "; ".join(f"{IN_SHORT.get(row.code, row.words)} {_figure(row.heads)}" for row in rows)
    return interval_strip(
        "Heads by each method",
        [_interval(IN_SHORT.get(row.code, row.words), row.heads) for row in rows],
        unit="heads",
        summary=f"{words}. Dots are the figures, lines their 95 % intervals.",
    )


def _sexes_strip(row: MethodRow) -> Chart | None:
    if row.females is None and row.males is None:
        return None
    words = f"Females {_figure(row.females)}, males {_figure(row.males)}, with their 95 % intervals."
    return interval_strip(
        "Females and males",
        [_interval("Females", row.females), _interval("Males", row.males)],
        unit="heads",
        summary=words,
    )


def _fit_chart(reading: Reading) -> Chart | None:
    fit = reading.fit
    if fit is None or not fit.labels:
        return None
    if not fit.labels[0].startswith("Haul"):
        return _fit_bars(fit)
    return line_chart(
        "Catch against the fit",
        fit.labels,
        [Series("Caught", fit.observed), Series("By the fit", fit.expected)],
        unit="heads",
        summary=fit.words,
    )


def _fit_bars(fit: Fit) -> Chart:
    """Draw a fit over what is no run of hauls, such as females and males: bars, for a line would say a course."""
    labels, values = [], []
    for label, observed, expected in zip(fit.labels, fit.observed, fit.expected, strict=True):
        labels += [f"{label}, caught", f"{label}, by the fit"]
        values += [observed, expected]
    return bar_chart("Catch against the fit", labels, values, unit="heads", summary=fit.words)


def _figure(one: Estimate | None) -> str:
    if one is None or one.value is None:
        return "not known"
    return figure_text(one.value, 0)
