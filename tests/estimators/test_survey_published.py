"""Published worked examples, read as surveys: the same figures as printed."""

import pytest

from stock.estimators.survey import Circumstances, read_survey
from tests.estimators.survey_makers import haul, passes


def two_hauls(marked, caught, seen):
    return [haul(marked, marked="all"), haul(caught, seen=(seen, 0), day=1)]


def test_carp_krebs_1989_box_2_1():
    # Krebs (1989), Ecological Methodology, Box 2.1: Petersen 2390 (2153, 2685), Chapman 2383.
    reading = read_survey(two_hauls(948, 421, 167))
    petersen = reading.reading("two-sample", "petersen").total
    assert (round(petersen.value), round(petersen.lower), round(petersen.upper)) == (2390, 2153, 2685)
    assert reading.headline.method == "two-sample"
    assert reading.headline.total.value == pytest.approx(2382.80, abs=0.01)
    assert round(reading.headline.total.value) == 2383
    # Chao (1987) and Seber (1970), written out in test_two_sample.
    assert reading.headline.total.se == pytest.approx(129.056, abs=0.001)
    assert (reading.headline.total.lower, reading.headline.total.upper) == pytest.approx(
        (2155.72, 2663.95), abs=0.01
    )
    assert reading.reading("two-sample", "bailey").total.value == pytest.approx(2381.29, abs=0.01)


def test_ricker_1975_example_3_1():
    assert round(read_survey(two_hauls(109, 177, 57)).headline.total.value) == 337


def test_cottontails_skalski_1983_with_the_exact_limits():
    # Skalski, Robson & Simmons (1983), Ecology 64: 164 heads; few recaptures, so the limits are the exact ones.
    total = read_survey(two_hauls(87, 14, 7)).headline.total
    assert (total.value, total.lower, total.upper) == (164, 116, 371)
    assert total.se == pytest.approx(35.8236, abs=1e-4)


GORDY_LAKE = {
    # Gerking (1953); Krebs (1989), Table 2.2; Ricker (1975), p. 99.
    "caught": (10, 27, 17, 7, 1, 5, 6, 15, 9, 18, 16, 5, 7, 19),
    "seen": (0, 0, 0, 0, 0, 0, 2, 1, 5, 5, 4, 2, 2, 3),
    "returned": (10, 27, 17, 7, 1, 5, 6, 15, 9, 18, 14, 5, 6, 0),
}


def gordy_lake():
    hauls = []
    for day, (caught, seen, returned) in enumerate(zip(*GORDY_LAKE.values(), strict=True)):
        # The two and the one not put back are taken to be unmarked; what was not marked at the end is no matter.
        newly = max(returned - seen, 0)
        hauls.append(haul(caught, seen=(seen, 0), marked=(newly, 0), day=day))
    return hauls


def test_gordy_lake_sunfish():
    reading = read_survey(gordy_lake())
    assert reading.form == "several hauls with marks"
    assert reading.headline.variant == "schnabel-modified"
    # Published: Schnabel 447.5, modified 429.6; the limits are Garwood's (1936) of 24 recaptures.
    assert reading.headline.total.value == pytest.approx(429.6, abs=1e-9)
    assert reading.reading("multi-haul", "schnabel").total.value == pytest.approx(447.5, abs=1e-9)
    assert (reading.headline.total.lower, reading.headline.total.upper) == pytest.approx(
        (300.755, 698.434), abs=0.001
    )
    # Krebs: 423 (300, 719).
    beside = reading.reading("multi-haul", "schumacher-eschmeyer").total
    assert beside.value == pytest.approx(422.971, abs=0.001)
    assert (beside.lower, beside.upper) == pytest.approx((299.66, 718.74), abs=0.01)


@pytest.mark.parametrize(
    ("catches", "heads", "chance"),
    [
        # Carle & Strub (1978).
        ((38, 26, 12), 91, 0.444444),
        # Cowx (1983), p. 77.
        ((72, 56, 46, 30, 24), 298, 0.25),
    ],
)
def test_carle_and_strub_1978(catches, heads, chance):
    reading = read_survey(passes(*((caught, 0) for caught in catches)))
    assert (reading.form, reading.headline.variant) == ("removal", "carle-strub")
    assert reading.headline.total.value == heads
    assert reading.headline.capture_probability == pytest.approx(chance, abs=1e-6)
    assert reading.refusal == ""


def test_brook_trout_schnute_1983():
    # Schnute (1983), sample 1: 45 11 18 8 gives 90.6 (83.4, 109.2).
    reading = read_survey(passes((45, 0), (11, 0), (18, 0), (8, 0)))
    beside = reading.reading("removal", "mle").total
    assert beside.value == pytest.approx(90.6, abs=0.07)
    assert (beside.lower, beside.upper) == pytest.approx((83.4, 109.2), abs=0.07)
    # The headline has those same limits.
    assert (reading.headline.total.lower, reading.headline.total.upper) == pytest.approx(
        (83.4, 109.2), abs=0.07
    )


def test_smallmouth_bass_omand_1951():
    # Omand (1951); Ricker (1975), example 6.1: 1078 with half of each catch added. Efforts were alike.
    catches = (131, 69, 99, 78, 56, 76, 49, 42, 63, 47)
    reading = read_survey(passes(*((caught, 0) for caught in catches), efforts=[7] * 10))
    half = reading.reading("catch-effort", "leslie-half-catch").total
    assert half.value == pytest.approx(1077.571, abs=0.01)
    assert round(half.value) == 1078
    assert (half.lower, half.upper) == pytest.approx((813.63, 2057.20), abs=0.01)
    plain = reading.reading("catch-effort", "leslie").total
    assert (plain.value, plain.se) == pytest.approx((1060.296, 169.268), abs=0.001)
    assert reading.headline.method == "removal"


def test_marks_lost_seber_1982_section_3_2_4():
    # 40 hold both, 8 only the first, 5 only the second: 54 marked recaptures for 53 seen.
    circumstances = Circumstances(marks_checked=(40, 8, 5))
    lossy = read_survey(two_hauls(300, 200, 53), circumstances).headline.total
    # Chapman with 53/54 of the marked still to be told.
    assert lossy.value == pytest.approx((300 * 53 / 54 + 1) * 201 / 54 - 1)
    assert lossy.value < read_survey(two_hauls(300, 200, 53)).headline.total.value
