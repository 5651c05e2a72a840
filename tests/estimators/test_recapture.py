"""Survival from recaptures against the published dippers, and against likelihoods written out."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from stock.estimators.open_population import from_histories, recapture_survival
from stock.estimators.recapture_likelihood import as_share

# European dippers: Lebreton, Burnham, Clobert & Anderson (1992), Ecological Monographs 62:67-118; floods
# in the second and third interval.
RELEASED = (22, 60, 78, 80, 88, 98)
FIRST_RECAPTURES = ((11, 2, 0, 0, 0, 0), (24, 1, 0, 0, 0), (34, 2, 0, 0), (45, 1, 2), (51, 0), (52,))
DIPPERS = {"dippers": (RELEASED, FIRST_RECAPTURES)}


def values(estimates):
    return [estimate.value for estimate in estimates]


def test_dippers_with_one_survival_and_one_recapture():
    fit = recapture_survival(DIPPERS)
    survival, recapture = fit.survival["dippers"], fit.recapture["dippers"]
    assert len(survival) == len(recapture) == 6
    assert (survival[0].value, survival[0].se) == pytest.approx((0.5602, 0.0251), abs=2e-4)
    assert (survival[0].lower, survival[0].upper) == pytest.approx((0.5106, 0.6088), abs=2e-4)
    assert (recapture[0].value, recapture[0].se) == pytest.approx((0.9026, 0.0286), abs=2e-4)
    assert (recapture[0].lower, recapture[0].upper) == pytest.approx((0.8305, 0.9460), abs=2e-4)
    assert fit.deviance == pytest.approx(666.8377, abs=2e-4)
    assert (fit.parameters, fit.last_product) == (2, {"dippers": None})
    assert set(survival) == {survival[0]}
    assert survival[0].status == "ok"
    assert "apparent" in survival[0].notes[0]


def test_dippers_with_floods():
    years = ["dry", "flood", "flood", "dry", "dry", "dry"]
    fit = recapture_survival(DIPPERS, survival=years)
    expected = [0.4688 if year == "flood" else 0.6071 for year in years]
    assert values(fit.survival["dippers"]) == pytest.approx(expected, abs=2e-4)
    assert fit.recapture["dippers"][3].value == pytest.approx(0.8998, abs=2e-4)
    assert fit.deviance == pytest.approx(660.1028, abs=2e-4)


def test_dippers_by_interval():
    fit = recapture_survival(DIPPERS, survival="by-interval", recapture="by-interval")
    survival, recapture = fit.survival["dippers"], fit.recapture["dippers"]
    assert values(survival[:5]) == pytest.approx([0.7182, 0.4347, 0.4782, 0.6261, 0.5985], abs=2e-4)
    assert values(recapture[:5]) == pytest.approx([0.6962, 0.9231, 0.9130, 0.9008, 0.9324], abs=2e-4)
    assert fit.deviance == pytest.approx(656.9502, abs=2e-4)
    assert survival[5].status == recapture[5].status == "no_estimate"
    product = fit.last_product["dippers"]
    # 52 of the last 98 were met again.
    assert product.value == pytest.approx(0.5306, abs=2e-4) == pytest.approx(52 / 98, abs=2e-4)
    assert product.lower < product.value < product.upper
    assert fit.parameters == 11


def test_the_multinomial_written_out():
    # Lebreton et al. (1992): cell probabilities multiplied out, maximized by scipy's simplex.
    def deviance(point):
        phi, p = as_share(point[0]), as_share(point[1])
        total = 0.0
        for number, row in zip(RELEASED, FIRST_RECAPTURES, strict=True):
            cells = [phi ** (j + 1) * (1 - p) ** j * p for j in range(len(row))]
            total += sum(heads * math.log(cell) for heads, cell in zip(row, cells, strict=True))
            total += (number - sum(row)) * math.log(1 - sum(cells))
        return -2 * total

    best = optimize.minimize(
        deviance, (0.0, 1.0), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}
    )
    fit = recapture_survival(DIPPERS)
    assert fit.deviance == pytest.approx(best.fun, abs=1e-8)
    found = fit.survival["dippers"][0].value, fit.recapture["dippers"][0].value
    assert found == pytest.approx((as_share(best.x[0]), as_share(best.x[1])), abs=1e-6)


def test_groups_apart_are_fitted_apart():
    # Two groups with nothing shared: each as if alone, and the deviances add.
    other = ((40, 45, 50), ((20, 6, 2), (25, 5), (22,)))
    both = {"females": ((30, 30, 30), ((12, 5, 3), (13, 4), (14,))), "males": other}
    fit = recapture_survival(both, survival="by-group", recapture="by-group")
    alone = [recapture_survival({name: both[name]}) for name in both]
    assert fit.deviance == pytest.approx(sum(each.deviance for each in alone))
    for name, each in zip(both, alone, strict=True):
        assert fit.survival[name][0].value == pytest.approx(each.survival[name][0].value, abs=1e-6)
        assert fit.survival[name][0].se == pytest.approx(each.survival[name][0].se, rel=1e-4)
    shared = recapture_survival(both, survival="by-group")
    assert values(shared.recapture["females"]) == values(shared.recapture["males"])
    assert shared.deviance > fit.deviance


def test_lengths_in_years_make_survival_a_years():
    plain = recapture_survival(DIPPERS)
    half = recapture_survival(DIPPERS, years=[0.5] * 6)
    value = plain.survival["dippers"][0].value
    assert half.survival["dippers"][0].value == pytest.approx(value**2, abs=1e-6)
    # The delta method: 2 x phi x its standard error.
    assert half.survival["dippers"][0].se == pytest.approx(
        2 * value * plain.survival["dippers"][0].se, rel=1e-4
    )
    assert half.deviance == pytest.approx(plain.deviance)
    product = recapture_survival(DIPPERS, survival="by-interval", recapture="by-interval", years=[0.5] * 6)
    assert product.last_product["dippers"].value == pytest.approx(52 / 98, abs=1e-6)


def test_all_met_again_lies_at_the_bound():
    fit = recapture_survival({"marked": ((20, 20, 20), ((20, 0, 0), (20, 0), (20,)))})
    for estimate in (fit.survival["marked"][0], fit.recapture["marked"][0]):
        assert (estimate.value, estimate.se, estimate.lower, estimate.status) == (1, None, None, "bounded")
        assert "at its bound" in estimate.notes[-1]
    assert fit.deviance == pytest.approx(0, abs=1e-6)
    # Caught whenever alive; 30 of 60 lived: a binomial share.
    half = recapture_survival({"marked": ((20, 20, 20), ((10, 0, 0), (10, 0), (10,)))})
    assert half.recapture["marked"][0].value == 1
    assert half.survival["marked"][0].value == pytest.approx(0.5, abs=1e-6)
    assert half.survival["marked"][0].se == pytest.approx(math.sqrt(0.25 / 60), rel=1e-4)
    # None was caught at the second sample, though some were alive.
    never = recapture_survival(
        {"marked": ((20, 0, 20), ((0, 10, 3), (0, 0), (12,)))}, recapture=["dry", "wet", "wet"]
    )
    assert (never.recapture["marked"][0].value, never.recapture["marked"][0].status) == (0, "bounded")


def test_what_the_recaptures_cannot_tell():
    # No one was released before the third sample.
    fit = recapture_survival(
        {"marked": ((0, 0, 30, 30, 30), ((0,) * 5, (0,) * 4, (12, 4, 2), (14, 5), (13,)))},
        survival="by-interval",
    )
    survival = fit.survival["marked"]
    assert [estimate.status for estimate in survival[:2]] == ["no_estimate"] * 2
    assert "cannot tell" in survival[0].notes[0]
    assert [estimate.status for estimate in survival[2:]] == ["ok"] * 3
    # All died over the second interval: the chance of being caught after it has no witness.
    gone = recapture_survival(
        {"marked": ((30, 20, 0, 0), ((14, 0, 0, 0), (0, 0, 0), (0, 0), (0,)))},
        survival=["a", "b", "c", "c"],
        recapture=["a", "b", "b", "b"],
    )
    assert gone.recapture["marked"][2].status == "no_estimate"
    # Only the last release was met: survival and recapture stand only as a product.
    last = recapture_survival({"marked": ((0, 40), ((0, 0), (22,)))})
    assert last.survival["marked"][0].status == last.recapture["marked"][0].status == "no_estimate"


def test_two_samples_give_only_the_product():
    fit = recapture_survival({"females": ((40,), ((22,),)), "males": ((30,), ((9,),))}, survival="by-group")
    for name, share in (("females", 22 / 40), ("males", 9 / 30)):
        assert fit.survival[name][0].status == fit.recapture[name][0].status == "no_estimate"
        assert fit.last_product[name].value == pytest.approx(share, abs=1e-6)
        # A binomial share on the logit scale.
        number = {"females": 40, "males": 30}[name]
        reach = stats.norm.ppf(0.975) / math.sqrt(number * share * (1 - share))
        assert fit.last_product[name].lower == pytest.approx(
            as_share(math.log(share / (1 - share)) - reach), abs=1e-5
        )


def test_few_or_no_recaptures():
    few = recapture_survival({"marked": ((20, 20, 20), ((2, 1, 0), (1, 1), (1,)))})
    assert few.survival["marked"][0].status == "low_confidence"
    assert "6 recaptured" in few.survival["marked"][0].notes[0]
    none = recapture_survival({"marked": ((20, 20), ((0, 0), (0,)))})
    assert none.survival["marked"][1].status == none.recapture["marked"][0].status == "no_estimate"
    assert (none.last_product, none.deviance) == ({"marked": None}, 0)
    assert recapture_survival({"marked": ((5,), ())}).survival == {"marked": ()}


def test_a_last_release_may_be_given():
    captures = from_histories({"111": 8, "101": 3, "110": 6, "100": 9, "011": 7, "010": 9, "001": 4})
    fit = recapture_survival({"all": (captures.released, captures.first_recaptures)})
    short = recapture_survival({"all": (captures.released[:-1], captures.first_recaptures)})
    assert fit == short
    assert as_share(-800) == 0


def test_impossible_recaptures_are_refused():
    rows = ((4, 1), (3,))
    for call, words in [
        (lambda: recapture_survival({}), "nothing to estimate from"),
        (lambda: recapture_survival({"f": ((9, 9), ((8, 2), (3,)))}), "f, release 1: 10 recaptured of 9"),
        (
            lambda: recapture_survival({"f": ((9, 9), ((8,), (3,)))}),
            "f, release 1: 1 later samples given; there are 2",
        ),
        (lambda: recapture_survival({"f": ((9, 9, 9, 9), rows)}), "f: 4 releases, but recaptures of 2"),
        (
            lambda: recapture_survival({"f": ((9, 9), rows), "m": ((9,), ((3,),))}),
            "m: 1 releases; the first group has 2",
        ),
        (lambda: recapture_survival({"f": ((9, 9), rows)}, survival="by-year"), "'by-year' is not known"),
        (
            lambda: recapture_survival({"f": ((9, 9), rows)}, recapture=["a"]),
            "recapture: 1 classes for 2 intervals",
        ),
        (lambda: recapture_survival({"f": ((9, 9), rows)}, years=[1]), "years: 1 lengths for 2 intervals"),
        (lambda: recapture_survival({"f": ((9, 9), rows)}, years=[1, 0]), "each needs one above 0"),
    ]:
        with pytest.raises(ValueError, match=words):
            call()


@st.composite
def group(draw, intervals):
    rows = tuple(
        tuple(draw(st.integers(0, 12)) if draw(st.booleans()) else 0 for _ in range(intervals - start))
        for start in range(intervals)
    )
    return tuple(sum(row) + draw(st.integers(0, 20)) for row in rows), rows


CHOICES = ("constant", "by-interval", "by-group")


@given(
    st.integers(1, 4).flatmap(lambda intervals: st.tuples(group(intervals), group(intervals))),
    st.sampled_from(list(itertools.product(CHOICES, CHOICES))),
)
@settings(max_examples=40, deadline=None)
def test_any_recaptures_give_shares_between_their_limits(pair, choices):
    groups = dict(zip(("females", "males"), pair, strict=True))
    fit = recapture_survival(groups, survival=choices[0], recapture=choices[1])
    assert fit.deviance >= -1e-6
    products = [product for product in fit.last_product.values() if product is not None]
    for estimate in [*itertools.chain(*fit.survival.values(), *fit.recapture.values()), *products]:
        if estimate.value is not None:
            assert 0 <= estimate.value <= 1
            assert estimate.lower is None or estimate.lower <= estimate.value <= estimate.upper


@given(st.integers(2, 4).flatmap(group))
@settings(max_examples=8, deadline=None)
def test_a_larger_model_fits_no_worse(one):
    groups = {"all": one}
    constant = recapture_survival(groups).deviance
    by_interval = recapture_survival(groups, survival="by-interval").deviance
    assert by_interval <= constant + 1e-4
    assert (
        recapture_survival(groups, survival="by-interval", recapture="by-interval").deviance
        <= by_interval + 1e-4
    )


@given(st.integers(2, 4).flatmap(group))
@settings(max_examples=8, deadline=None)
def test_twice_the_animals_twice_the_deviance(one):
    released, rows = one
    twice = tuple(2 * heads for heads in released), tuple(tuple(2 * heads for heads in row) for row in rows)
    small, large = recapture_survival({"all": one}), recapture_survival({"all": twice})
    assert large.deviance == pytest.approx(2 * small.deviance, abs=1e-4)
    assert np.isfinite(large.deviance)
