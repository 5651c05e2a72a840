"""The season record: what each pond, egg lot and batch gave, against what was expected, year on year."""

from __future__ import annotations

from typing import Any

from django import forms

from ponds.charts import Chart, Interval, Series, interval_strip, line_chart
from ponds.computed_lists import ComputedListPage, RowFilterForm
from ponds.farm import the_farm
from ponds.form_fields import offer
from ponds.seasons import Season
from stock.season_record import (
    BatchRecord,
    LotRecord,
    PondRecord,
    SeasonRecord,
    YearLine,
    batch_records,
    lot_records,
    newest_season,
    pond_records,
    season_record,
    year_lines,
)
from stock.tables.season_record import BatchRecordTable, LotRecordTable, PondRecordTable

MOST_DRAWN = 20


class RecordFilterForm(RowFilterForm):
    """Which season, and which kind."""

    season = forms.ChoiceField(required=False)
    kind = forms.ChoiceField(required=False)

    def __init__(self, asked: Any, *, years: list[int], chosen: int, kinds: list[str]) -> None:
        super().__init__({"season": str(chosen), "kind": asked.get("kind", "")})
        offer(self, "season", [(str(year), str(year)) for year in years])
        offer(self, "kind", [("", "Any kind"), *((kind, kind) for kind in kinds)])

    def admits(self, row: Any) -> bool:
        return self.cleaned_data["kind"] in ("", row.kind)


class RecordPage(ComputedListPage):
    """What the three lists share: the season that is asked for."""

    filter_form_class = RecordFilterForm
    what = "ponds"

    def read(self) -> SeasonRecord:
        self.today = the_farm().today()
        newest, years = newest_season(self.today)
        asked = self.request.GET.get("season", "")
        self.season = Season(int(asked)) if asked in {str(year) for year in years} else newest
        self.years = years or [newest.year]
        self.export_name = f"season-{self.season.year}-{self.what}"
        return season_record(self.today, self.season)

    def get_filter_form(self, rows: list[Any]) -> RecordFilterForm:
        return RecordFilterForm(
            self.request.GET,
            years=self.years,
            chosen=self.season.year,
            kinds=sorted({row.kind for row in rows}),
        )

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            season=self.season,
            what=self.what,
            is_over=self.today > self.season.ends_on,
            today=self.today,
            **kwargs,
        )


class PondRecords(RecordPage):
    """Every pond and kind, drawn, with the seasons before it."""

    table_class = PondRecordTable
    template_name = "stock/season_record.html"
    search_label = "Pond or kind"

    def get_rows(self) -> list[PondRecord]:
        self.record = self.read()
        self.lines = year_lines(self.record, self.today)
        return pond_records(self.record)

    def words_of(self, row: PondRecord) -> str:
        return f"pond {row.pond} {row.kind} {row.against}"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        rows = kwargs["object_list"]
        return super().get_context_data(charts=[_ponds_chart(rows), *_year_charts(self.lines)], **kwargs)


class LotRecords(RecordPage):
    """Every lot of the season."""

    what = "lots"
    table_class = LotRecordTable
    template_name = "stock/season_record_lots.html"
    search_label = "Lot, pond or kind"

    def get_rows(self) -> list[LotRecord]:
        return lot_records(self.read())

    def words_of(self, row: LotRecord) -> str:
        return f"{row.code} pond {row.ponds} {row.kind} {row.standing}"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        drawn = [row for row in kwargs["object_list"] if row.share is not None][:MOST_DRAWN]
        strip = [
            Interval(row.code, 100 * row.share.value, 100 * row.share.lower, 100 * row.share.upper)
            for row in drawn
            if row.share is not None
        ]
        summary = (
            f"The {len(strip)} lots surest to have done well, best first." if strip else "No lot is finished."
        )
        charts = [interval_strip("Hatch share by lot", strip, unit="% of eggs", summary=summary)]
        return super().get_context_data(charts=charts if strip else [], **kwargs)


class BatchRecords(RecordPage):
    """Every batch among the season's laying females."""

    what = "batches"
    table_class = BatchRecordTable
    template_name = "stock/season_record_batches.html"
    search_label = "Batch, seller or kind"

    def get_rows(self) -> list[BatchRecord]:
        return batch_records(self.read(), self.today)

    def words_of(self, row: BatchRecord) -> str:
        return f"{row.code} {row.party} {row.kind} {row.source} {row.where}"


def _ponds_chart(rows: list[PondRecord]) -> Chart:
    known = [row for row in rows if row.nests_each is not None and row.nests_each.value is not None]
    shown = sorted(known, key=lambda row: -(row.nests_each.value or 0) if row.nests_each else 0)[:MOST_DRAWN]
    several = len({row.kind for row in shown}) > 1
    strip = [
        Interval(
            f"{row.pond} {row.kind}" if several else f"Pond {row.pond}",
            row.nests_each.value,
            row.nests_each.lower,
            row.nests_each.upper,
        )
        for row in shown
        if row.nests_each is not None
    ]
    more = f" The {MOST_DRAWN} best of {len(known)}." if len(known) > MOST_DRAWN else ""
    summary = (
        f"Most in {strip[0].label}, fewest in {strip[-1].label}, drawn toward each other where few nests stand "
        f"behind a figure; the bars hold the truth 9 times in 10.{more}"
        if strip
        else "No settled females stood in any pond."
    )
    return interval_strip("Nests a settled female", strip, unit="nests a female", summary=summary)


def _year_charts(lines: list[YearLine]) -> list[Chart]:
    years = sorted({line.year for line in lines})
    if len(years) < 2:
        return []
    kinds = sorted({line.kind for line in lines if line.nests})[:8]
    by_place = {(line.kind, line.year): line for line in lines}
    labels = [str(year) for year in years]
    nests = [Series(kind, tuple(by_place[kind, year].nests_each for year in years)) for kind in kinds]
    shares = [
        Series(
            kind,
            tuple(
                None if (share := by_place[kind, year].hatch_share) is None else 100 * share for year in years
            ),
        )
        for kind in kinds
    ]
    return [
        line_chart("Nests a settled female, year on year", labels, nests, unit="nests"),
        line_chart("Hatch share, year on year", labels, shares, unit="% of eggs"),
    ]
