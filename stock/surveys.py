"""Surveys read: rows -> hauls as plain values -> a pure reading -> what a count accepted from it would say.

A reading's figures hold just before one of the survey's hauls, its reference; a count holds at the end of a
day, here the day of the last haul. What came and went between the two is added and taken off. Writes nothing.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from django.db.models import Prefetch, QuerySet

from ponds.models import Kind, Pond
from stock.drafts import CLASSES, Z_95, CountDraft
from stock.estimators.estimate import Estimate
from stock.estimators.survey import Circumstances, HaulCatch, Reading, SurveyReading, read_survey
from stock.models import Count, Haul, HaulLine, Survey, SurveyHaul, SurveyMarked
from stock.survey_floor import (
    Floor,
    Flow,
    LaterCatch,
    floor_of,
    later_catches,
    marked_on,
)
from stock.survey_flows import (
    DayOrder,
    Net,
    day_order,
    first_logged,
    flows_of,
    later_flows,
    moved_between,
    net_from,
    others_of_day,
)

DRAIN_DOWN = "drain-down"


@dataclass(frozen=True)
class Figures:
    """What a count accepted from a reading says at the end of its day; None for what was not counted."""

    females: float | None
    females_se: float | None
    males: float | None
    males_se: float | None
    covariance: float
    unsexed: float | None
    unsexed_se: float | None
    juveniles: float | None
    juveniles_se: float | None
    raised: tuple[str, ...] = ()

    @property
    def adults(self) -> float:
        return sum(part for part in (self.females, self.males, self.unsexed) if part is not None)

    @property
    def adults_se(self) -> float:
        variance = sum((se or 0.0) ** 2 for se in (self.females_se, self.males_se, self.unsexed_se))
        return math.sqrt(max(0.0, variance + 2 * self.covariance))

    def draft(self, *, pond: str, kind: str, as_of: dt.date, how_known: str) -> CountDraft:
        """Return the count as the ledger takes it."""
        return CountDraft(
            pond=pond, kind=kind, as_of=as_of, how_known=how_known,
            females=self.females, females_se=self.females_se, males=self.males, males_se=self.males_se,
            covariance=self.covariance, unsexed=self.unsexed, unsexed_se=self.unsexed_se,
            juveniles=self.juveniles, juveniles_se=self.juveniles_se,
        )  # fmt: skip


@dataclass(frozen=True)
class KindSurvey:
    """A survey's hauls read for one kind."""

    kind: Kind
    hauls: tuple[Haul, ...]
    catches: tuple[HaulCatch, ...]
    reading: SurveyReading
    flows: tuple[Flow, ...]
    marked_before: dict[str, int]
    moved_between: int
    later: tuple[LaterCatch, ...] = ()
    marked: dict[str, int] = field(default_factory=dict)
    order: DayOrder = field(default_factory=DayOrder)
    circumstances: Circumstances = field(default_factory=Circumstances)

    @property
    def as_of(self) -> dt.date:
        return dt.date.fromordinal(self.reading.as_of)

    @property
    def all_readings(self) -> tuple[Reading, ...]:
        """The headline first, then the others; those without any figure too."""
        head = (self.reading.headline,) if self.reading.headline else ()
        return (*head, *self.reading.others)

    @property
    def can_be_accepted(self) -> tuple[Reading, ...]:
        """The readings with a figure and its doubt, where the survey has something to accept at all."""
        return () if self.refusal else tuple(one for one in self.all_readings if _is_told(one))

    @property
    def refusal(self) -> str:
        """Why there is nothing to accept and what to do about it; "" where there is something."""
        if self.reading.refusal or (self.reading.headline and _is_told(self.reading.headline)):
            return self.reading.refusal
        return (
            "These hauls set no upper limit to the heads, so there is no count with its doubt to accept. "
            "Haul once more and read it with them."
        )

    def named(self, method: str) -> Reading | None:
        """Return the acceptable reading of a code as given by `code_of`."""
        return next((one for one in self.can_be_accepted if code_of(one) == method), None)

    def net(self, reading: Reading) -> Net:
        """Return what came less what went from the reading's reference haul through the end of the count's day."""
        return net_from(self.flows, self.hauls, reading.reference, self.order)

    def other_moves(self) -> list[tuple[Flow, bool]]:
        """Return what else came and went on the days the acceptable figures hold for, and if before the haul."""
        places = {reading.reference % len(self.hauls) for reading in self.can_be_accepted}
        return [
            (flow, self.order.is_before(flow.move_id, self.hauls[place]))
            for place in sorted(places)
            for flow in others_of_day(self.flows, self.hauls, place)
        ]

    def ordered(self, said: str) -> KindSurvey:
        """Return the survey read with the other moves of a haul's day before or after it, as an owner says."""
        order = replace(self.order, said=said)
        between = moved_between(self.flows, self.hauls, order)
        circumstances = replace(self.circumstances, moved_between=between)
        same = between == self.moved_between
        reading = self.reading if same else read_survey(self.catches, circumstances)
        return replace(self, order=order, moved_between=between, circumstances=circumstances, reading=reading)

    def floor(self) -> Floor:
        """Return the heads known to have stood there at the end of the count's day."""
        return floor_of(self.as_of, self.flows, self.later, self.marked)

    def figures(self, reading: Reading) -> Figures:
        """Return what a count accepted by this reading says at the end of its day."""
        net, floor = self.net(reading), self.floor()
        if reading.method == DRAIN_DOWN:
            return _as_drained(_counted_out(self.catches, reading.reference), net, floor)
        return _as_estimated(reading, net, floor)


def code_of(reading: Reading) -> str:
    """Return the code under which a reading is chosen and kept with a count: its variant, else its method."""
    return (reading.variant or reading.method)[:20]


def read(survey: Survey) -> list[KindSurvey]:
    """Read a survey for each kind it caught: the members, what is marked, and one query of entries."""
    return read_hauls(
        survey.pond,
        standing_hauls(survey),
        marked=list(survey.marked_before.all()),
        marks_checked=_marks_checked(survey),
    )


def read_hauls(
    pond: Pond,
    hauls: Sequence[Haul],
    *,
    marked: Iterable[SurveyMarked] = (),
    marks_checked: tuple[int, int, int] | None = None,
) -> list[KindSurvey]:
    """Read hauls that stand, oldest first, for each kind they caught."""
    if not hauls:
        return []
    kinds = {line.kind_id: line.kind for haul in hauls for line in haul.lines.all()}
    last = hauls[-1].happened_on
    during = flows_of(pond, hauls[0].happened_on, last)
    order, flows = day_order(during, hauls), [*during, *later_flows(pond, last)]
    later, standing = later_catches(pond, last), marked_on(pond, last)
    before: dict[int, dict[str, int]] = defaultdict(dict)
    for row in marked:
        before[row.kind_id][row.of_class] = row.heads
    found = []
    for kind in sorted(kinds.values(), key=lambda one: one.common_name):
        own = tuple(flow for flow in flows if flow.kind_id == kind.pk)
        between = moved_between(own, hauls, order)
        catches = tuple(catch_of(haul, kind.pk) for haul in hauls)
        circumstances = Circumstances(
            marked_before=dict(before[kind.pk]), marks_checked=marks_checked, moved_between=between
        )
        reading = read_survey(catches, circumstances)
        found.append(
            KindSurvey(
                kind, tuple(hauls), catches, reading, own, before[kind.pk], between,
                tuple(catch for catch in later if catch.kind_id == kind.pk),
                {of_class: heads for (kind_id, of_class), heads in standing.items() if kind_id == kind.pk},
                order, circumstances,
            )
        )  # fmt: skip
    return found


def standing_hauls(survey: Survey) -> list[Haul]:
    """Return the survey's hauls that stand, oldest first, with lines and kinds: two queries."""
    return [haul for haul in all_hauls(survey) if not is_taken_back(haul)]


def all_hauls(survey: Survey) -> list[Haul]:
    """
    Return the survey's hauls, also those taken back, oldest first.

    Those of one day stand in the order they were first logged, so a correction keeps the place of what it mends.
    """
    hauls = list(with_catch(Haul.objects.filter(in_survey__survey=survey)))
    logged = first_logged({haul.move_id: haul.move.replaces_id for haul in hauls})
    return sorted(hauls, key=lambda haul: (haul.happened_on, logged[haul.move_id], haul.pk))


def with_catch(hauls: QuerySet[Haul]) -> QuerySet[Haul]:
    """Load hauls with what a survey reads of them."""
    lines = HaulLine.objects.select_related("kind").order_by("kind__common_name", "pk")
    return hauls.select_related("move__reversed_by", "move__replaced_by").prefetch_related(
        Prefetch("lines", queryset=lines)
    )


def is_taken_back(haul: Haul) -> bool:
    return getattr(haul.move, "reversed_by", None) is not None


def catch_of(haul: Haul, kind_id: int) -> HaulCatch:
    """Return one haul as an estimator reads it, for one kind."""
    lines = [line for line in haul.lines.all() if line.kind_id == kind_id]
    return HaulCatch(
        day=haul.happened_on.toordinal(),
        method=haul.method,
        effort=haul.effort,
        is_held_out=haul.is_held_out,
        is_complete=haul.is_complete,
        caught={line.of_class: line.caught for line in lines},
        carrying={line.of_class: line.carrying_marks for line in lines},
        newly_marked={line.of_class: line.newly_marked for line in lines},
        dead={line.of_class: line.dead_in_net for line in lines},
    )


def ungrouped_hauls(pond: Pond) -> QuerySet[Haul]:
    """Return a pond's hauls that stand and are read in no survey yet, newest first."""
    hauls = Haul.objects.filter(pond=pond, in_survey=None, move__reversed_by=None)
    return with_catch(hauls).order_by("-happened_on", "-pk")


def survey_of(haul: Haul) -> int | None:
    """Return the id of the survey a haul is read in, if any."""
    return SurveyHaul.objects.filter(haul=haul).values_list("survey_id", flat=True).first()


def open_survey(pond: Pond) -> Survey | None:
    """Return the pond's newest survey from which no count stands, if any."""
    standing = Count.objects.standing().filter(survey__isnull=False).values("survey")
    with_hauls = SurveyHaul.objects.values("survey")
    return (
        Survey.objects.filter(pond=pond, pk__in=with_hauls)
        .exclude(pk__in=standing)
        .select_related("pond")
        .order_by("-pk")
        .first()
    )


def _marks_checked(survey: Survey) -> tuple[int, int, int] | None:
    if survey.marks_both is None or survey.marks_first_only is None or survey.marks_second_only is None:
        return None
    return survey.marks_both, survey.marks_first_only, survey.marks_second_only


def _is_told(reading: Reading) -> bool:
    """Return whether a reading has a figure and an end; a figure that is its own limits has no error."""
    total = reading.total
    return all(figure is not None and math.isfinite(figure) for figure in (total.value, total.upper))


def _counted_out(catches: Sequence[HaulCatch], reference: int) -> dict[str, int | None]:
    """
    Return the heads by class of a drain-down, and of the hauls held out straight before it.

    Every adult was put into a class, so an adult class nobody wrote down holds none. Juveniles nobody wrote down
    were not looked for: None.
    """
    first = reference % len(catches)
    last = max(place for place, catch in enumerate(catches) if catch.is_complete)
    drained = catches[first : last + 1]
    found: dict[str, int | None] = {
        of_class: sum(catch.caught.get(of_class, 0) for catch in drained) for of_class in CLASSES
    }
    if not any("JUVENILE" in catch.caught for catch in drained):
        found["JUVENILE"] = None
    return found


def _as_drained(counted: dict[str, int | None], net: Net, floor: Floor) -> Figures:
    """Every head was counted: as it was found, class by class, without error.

    What moved or was caught later proves heads that the drain-down missed; a mark does not, for its turtle may
    have died unseen.
    """
    heads = {
        of_class: None if number is None else max(0.0, float(number + net.of(of_class)))
        for of_class, number in counted.items()
    }
    females, raised_f = _raise(heads["FEMALE"] or 0.0, floor.moved_females, "females", floor.moved_proof)
    males, raised_m = _raise(heads["MALE"] or 0.0, floor.moved_males, "males", floor.moved_proof)
    unsexed = heads["UNSEXED"] or 0.0
    raised = (*raised_f, *raised_m)
    if (gap := floor.moved_adults - females - males - unsexed) > 0:
        unsexed += gap
        raised += (
            _raised_words(floor.moved_proof, floor.moved_adults, "adults", females + males + unsexed - gap),
        )
    young = heads["JUVENILE"]
    return Figures(females, 0.0, males, 0.0, 0.0, unsexed, 0.0, young, None if young is None else 0.0, raised)


def _as_estimated(reading: Reading, net: Net, floor: Floor) -> Figures:
    juveniles = reading.juveniles
    young = young_se = None
    if juveniles is not None and juveniles.value is not None and math.isfinite(juveniles.upper or math.inf):
        young, young_se = max(0.0, juveniles.value + net.of("JUVENILE")), _error(juveniles)
    females, males = reading.females, reading.males
    if females is None or males is None or females.value is None or males.value is None:
        total, raised = _raise((reading.total.value or 0.0) + net.adults, floor.adults, "heads", floor.proof)
        return Figures(None, None, None, None, 0.0, total, _error(reading.total), young, young_se, raised)
    both = females.value + males.value
    share = females.value / both if both else 0.5
    f = females.value + net.of("FEMALE") + share * net.of("UNSEXED")
    m = males.value + net.of("MALE") + (1 - share) * net.of("UNSEXED")
    f, raised_f = _raise(f, floor.females, "females", floor.proof)
    m, raised_m = _raise(m, floor.males, "males", floor.proof)
    raised = (*raised_f, *raised_m)
    if 0 < f + m < floor.adults:
        raised += (_raised_words(floor.proof, floor.adults, "adults", f + m),)
        f, m = f * floor.adults / (f + m), m * floor.adults / (f + m)
    f_se, m_se = _error(females), _error(males)
    most = f_se * m_se
    covariance = min(max(reading.covariance, -most), most)
    # The unsexed are shared out among the two, so none are left over beside them.
    return Figures(f, f_se, m, m_se, covariance, 0.0, 0.0, young, young_se, raised)


def _error(estimate: Estimate) -> float:
    """
    Return the standard error a count is written with.

    Where every marked animal was seen again the formula leaves none, though the limits are apart: it is then
    that of their upper arm. Nothing that has limits is taken as known exactly.
    """
    if estimate.se:
        return estimate.se
    if estimate.value is None or estimate.upper is None or not math.isfinite(estimate.upper):
        return 0.0
    return max(0.0, estimate.upper - estimate.value) / Z_95


def _raise(heads: float, known: int, noun: str, proof: str) -> tuple[float, tuple[str, ...]]:
    """Lift a figure to the heads that are known, and say so."""
    heads = max(0.0, heads)
    if known <= heads:
        return heads, ()
    return float(known), (_raised_words(proof, known, noun, heads),)


def _raised_words(proof: str, known: int, noun: str, heads: float) -> str:
    return f"{proof} at least {known} {noun}; the survey alone says {heads:.0f}, so the count says {known}."
