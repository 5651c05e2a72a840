"""Addresses of the ground floor: settings and the nest book."""

from django.urls import path

from ponds.views import farm, kinds, lot_counts, lots, nest_seasons, nests, ponds, sheets

app_name = "ponds"

urlpatterns = [
    path("settings/", farm.settings_page, name="settings"),
    path("settings/farm/", farm.farm_edit, name="farm-edit"),
    path("settings/kinds/", kinds.KindList.as_view(), name="kind-list"),
    path("settings/kinds/new/", kinds.kind_new, name="kind-new"),
    path("settings/kinds/shipped/", kinds.kinds_add_shipped, name="kinds-add-shipped"),
    path("settings/kinds/<slug:code>/", kinds.kind_detail, name="kind-detail"),
    path("settings/kinds/<slug:code>/edit/", kinds.kind_edit, name="kind-edit"),
    path("settings/ponds/", ponds.PondSettingsList.as_view(), name="pond-settings"),
    path("settings/ponds/new/", ponds.pond_new, name="pond-new"),
    path("settings/ponds/<str:code>/edit/", ponds.pond_edit, name="pond-edit"),
    path("settings/ponds/<str:code>/state/", ponds.pond_state, name="pond-state"),
    path("settings/ponds/<str:code>/retire/", ponds.pond_retire, name="pond-retire"),
    path("settings/sheets/", sheets.sheet_page, name="sheets"),
    path("settings/sheets/write/", sheets.sheet_write, name="sheet-write"),
    path("settings/sheets/<slug:what>.<str:form>", sheets.sheet_template, name="sheet-template"),
    path("nests/", nests.NestList.as_view(), name="nest-list"),
    path("nests/new/", nests.nest_new, name="nest-new"),
    path("nests/season/", nest_seasons.nest_season, name="nest-season"),
    path("nests/totals/", nest_seasons.NestTotals.as_view(), name="nest-totals"),
    path("nests/hatch/", lots.HatchList.as_view(), name="hatch-list"),
    path("nests/lots/", lots.LotList.as_view(), name="lot-list"),
    path("nests/lots/sheet.<str:form>", lots.lot_sheet, name="lot-sheet"),
    path("nests/lots/new/", lots.lot_new, name="lot-new"),
    path("nests/lots/<str:code>/", lots.lot_detail, name="lot-detail"),
    path("nests/lots/<str:code>/baskets/", lots.lot_baskets, name="lot-baskets"),
    path("nests/lots/<str:code>/candle/", lot_counts.lot_candle, name="lot-candle"),
    path("nests/lots/<str:code>/hatch/", lot_counts.lot_hatch, name="lot-hatch"),
    path("nests/lots/<str:code>/temperature/", lot_counts.lot_temperature, name="lot-temperature"),
    path(
        "nests/lots/<str:code>/<slug:what>/<uuid:key>/correct/",
        lot_counts.row_correct,
        name="lot-row-correct",
    ),
    path(
        "nests/lots/<str:code>/<slug:what>/<uuid:key>/take-back/",
        lot_counts.row_take_back,
        name="lot-row-take-back",
    ),
    path("nests/<uuid:key>/correct/", nests.nest_correct, name="nest-correct"),
    path("nests/<uuid:key>/take-back/", nests.nest_take_back, name="nest-take-back"),
]
