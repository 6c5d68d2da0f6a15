"""ATP facts as public copies of Annex 1 give them, and FAO's worked cold store."""

from datetime import date

import pytest

from thermal.atp import (
    HEAT_RESERVE_FACTOR,
    HEATED_CLASSES,
    Insulation,
    heat_loss_w,
    heated_class_of,
    insulation_class,
    k_value,
    mean_surface,
    reserve_ratio,
)
from thermal.certificate import Certificate, aged_k, certificate_ends_on, highest_yearly_growth

W_PER_KCAL_H = 1000.0 / 860.0  # FAO Fisheries TP 340 ch. 8, read: 1000 W = 860 kcal/h


@pytest.mark.parametrize(
    ("heat_w", "expected"),
    [
        (1000.0, Insulation.HEAVY),
        (1000.25, Insulation.NORMAL),
        (1750.0, Insulation.NORMAL),
        (1750.25, Insulation.NONE),
    ],
)
def test_the_k_limits_include_040_and_070(heat_w, expected):
    # Annex 1 para 1 as published in Austria (L-10010402-L1), read: "gleich oder kleiner". Test at 32.5 and
    # 7.5 °C (dnvgl.de, read) over 100 m2; K = W / (S dT) from memory.
    k = k_value(heat_w=heat_w, surface_m2=100.0, difference_k=32.5 - 7.5)
    assert insulation_class(k, width_m=2.40) is expected


def test_a_thin_wall_on_a_wide_body_is_not_heavily_insulated():
    # Same page, read: 45 mm when wider than 2.50 m.
    assert insulation_class(0.40, width_m=2.60, wall_mm=40.0) is Insulation.NORMAL
    assert insulation_class(0.40, width_m=2.60, wall_mm=45.0) is Insulation.HEAVY
    assert insulation_class(0.40, width_m=2.50, wall_mm=40.0) is Insulation.HEAVY


def test_the_mean_surface_of_faos_store():
    # FAO Fisheries TP 340 ch. 8, read: a 20 x 10 x 5 m store with 0.25 m walls has 771.5 m2 outside.
    inside = 2 * (20 * 10 + 20 * 5 + 10 * 5)
    outside = 2 * (20.5 * 10.5 + 20.5 * 5.5 + 10.5 * 5.5)
    assert (inside, outside) == (700, 771.5)
    assert mean_surface(inside, outside) == pytest.approx(734.88, abs=0.005)


def test_the_leak_through_faos_walls_follows_from_its_own_inputs():
    # FAO Fisheries TP 340 ch. 8: 0.033 kcal/h m °C, 0.25 m, 771.5 m2, 35/-30 °C give 6619.5 kcal/h. The
    # page prints 7422, which does not follow from its inputs and is not used.
    k = 0.033 / 0.25 * W_PER_KCAL_H
    leak = -heat_loss_w(k_w_m2k=k, surface_m2=771.5, outside_c=35.0, inside_c=-30.0)
    assert leak / W_PER_KCAL_H == pytest.approx(6619.5, abs=0.1)


@pytest.mark.parametrize(("letter", "outside_c"), [("A", -10.0), ("B", -20.0), ("C", -30.0), ("D", -40.0)])
def test_heated_classes_hold_twelve_degrees_at_their_outside_temperature(letter, outside_c):
    # A, B: 61/1983 Sb. section 4, read. That classes run to D: coch.pl/en/classification-atp, read; the
    # temperatures of C and D from memory, and marked so in the table.
    row = heated_class_of(letter)
    assert row.outside_c == outside_c
    assert ("memory" in row.source) == (letter in "CD")


def test_class_b_asks_for_heavy_insulation():
    # 61/1983 Sb. section 4, read: K <= 0.40.
    assert HEATED_CLASSES["B"].highest_k == 0.40
    assert HEATED_CLASSES["A"].highest_k == 0.70


def test_the_loss_of_a_class_b_body():
    # 0.40 W/m2K x 130 m2 x 32 K, arithmetic on the class.
    loss = heat_loss_w(k_w_m2k=0.40, surface_m2=130.0, outside_c=HEATED_CLASSES["B"].outside_c)
    assert loss == pytest.approx(1664.0)
    # The factor 1.35 is from memory: a default to override, so only its arithmetic is checked here.
    assert reserve_ratio(HEAT_RESERVE_FACTOR * 1664.0, loss_w=loss) == pytest.approx(1.0)
    assert reserve_ratio(1664.0, loss_w=loss, factor=1.0) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("kind", "years"), [(Certificate.TESTED, 6), (Certificate.TYPE_APPROVED, 6), (Certificate.EXAMINED, 3)]
)
def test_certificates_run_six_years_or_three(kind, years):
    # UK SI 1985/1071 note, read; Annex 1 App. 1 (gesetzefinden.at, read): at least every six years.
    assert certificate_ends_on(date(2020, 11, 25), kind=kind) == date(2020 + years, 11, 25)


def test_no_body_ages_faster_than_the_worst_of_110_tested():
    # iifiir.org fridoc 31844, read: 110 bodies, after twelve years all K < 0.70. From 0.40 that is 4.77 % a
    # year.
    assert highest_yearly_growth() == pytest.approx(0.0477, abs=5e-5)
    assert aged_k(0.40, years=12.0, yearly_growth=0.0477) < 0.70
