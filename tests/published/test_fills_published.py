"""Fills, gas and torques against hand calculations, exact unit definitions and one printed value.

Gas laws have no table to be checked against: each case is worked by hand in absolute
pressures with the standard atmosphere of 1.01325 bar, the arithmetic beside it. The
tolerance is half the last digit of the worked result.
"""

from __future__ import annotations

import pytest

from dampcell.functions.fills import expansion
from dampcell.functions.gases import (
    BULK_MODULUS,
    Reserve,
    aerated_modulus,
    air_effect,
    gap_spring,
    reserve_margin,
    reserve_pressure,
    trapped_air,
)
from dampcell.functions.torques import convert_torque


def test_boyle_by_hand_for_air_under_a_pushed_rod() -> None:
    # Rod 10 mm: A = 78.5398 mm². 20 mm free stroke: 1.570796 ml pushed in. 78.5398 N on it is 1 N/mm² =
    # 10 bar gauge, 11.01325 absolute. n = 1: 1 − 1.01325/11.01325 = 0.9079972; 1.570796/0.9079972 = 1.72996.
    found = trapped_air(rod_diameter=10.0, free_stroke=20.0, hand_force=78.53982)
    assert found == pytest.approx(1.72996, abs=5e-6)


def test_polytropic_compression_by_hand_for_air_under_a_pushed_rod() -> None:
    # As above with n = 1.4: (1.01325/11.01325)^(1/1.4): ln 0.0920028 = −2.385936; /1.4 = −1.704240;
    # exp = 0.181910; 1.570796/(1 − 0.181910) = 1.92008.
    found = trapped_air(rod_diameter=10.0, free_stroke=20.0, hand_force=78.53982, exponent=1.4)
    assert found == pytest.approx(1.92008, abs=2e-5)


def test_lost_stroke_by_hand() -> None:
    # 3 ml of air, from 2 bar gauge (3.01325) to 20 bar gauge (21.01325), n = 1:
    # 3·(1.01325/3.01325 − 1.01325/21.01325) = 3·(0.3362648 − 0.0482196) = 0.8641357 ml over a 12 mm rod
    # (113.0973 mm²) = 7.6406 mm.
    effect = air_effect(3.0, 150.0, 12.0, gauge_pressure=20.0, precharge=2.0, exponent=1.0)
    assert effect.lost_stroke == pytest.approx(7.6406, abs=5e-5)


def test_aerated_oil_by_hand() -> None:
    # a = 0.01, E_l = 1700 MPa, 10 bar gauge = 1.101325 MPa absolute, n = 1: squeezed air
    # 0.01·1.01325/11.01325 = 0.000920028. E = 1700·1.000920028/(1 + 0.000920028·1700/1.101325)
    # = 1701.56405/(1 + 1.420151) = 703.082 MPa.
    assert aerated_modulus(10.0, 0.01, 1700.0, exponent=1.0) == pytest.approx(703.082, abs=5e-4)


def test_oil_without_air_gives_way_as_a_hydraulics_text_prints() -> None:
    # Public hydraulics text (scribd 276067729): 250,000 psi, about 0.4 % per 1000 psi.
    # 250 000 psi · 6894.757293168 Pa = 1723.689 MPa, which BULK_MODULUS carries to four digits.
    psi = 6894.757293168361e-6
    assert pytest.approx(250_000 * psi, rel=5e-4) == BULK_MODULUS
    assert 1000 * psi / aerated_modulus(0.0, 0.0) == pytest.approx(0.004, rel=5e-4)


def test_reserve_by_hand_slow_and_cold() -> None:
    # Rod 14 mm, 60 mm: 153.9380·60 = 9.236282 ml. 40 ml at 7 bar gauge (8.01325):
    # 8.01325·40/30.763718 = 10.419091; − 1.01325 = 9.40584 bar gauge.
    reserve = Reserve(40.0, 14.0, 60.0)
    assert reserve_margin(reserve) == pytest.approx(30.763718, abs=1e-6)
    assert reserve_pressure(reserve, 7.0, 1.0) == pytest.approx(9.40584, abs=5e-6)


def test_reserve_by_hand_fast_and_cold() -> None:
    # (40/30.763718)^1.4: ln 1.3002330 = 0.2625435; ·1.4 = 0.3675609; exp = 1.4442068;
    # 8.01325·1.4442068 = 11.572790; − 1.01325 = 10.5595 bar gauge.
    assert reserve_pressure(Reserve(40.0, 14.0, 60.0), 7.0, 1.4) == pytest.approx(10.5595, abs=1e-4)


def test_reserve_by_hand_with_hot_oil() -> None:
    # 180 ml of oil, density 870 at 15 °C, from 20 to 60 °C: α = 0.6278/870 = 7.216092e-4.
    # αΔt(1 + 0.8αΔt): 5 K: 0.003608046·1.002886437 = 0.003618460; 45 K: 0.032472414·1.025977931 =
    # 0.033315980; exp(0.029697520) − 1 = 0.0301429; 180 ml grow 5.42572 ml.
    # Warm gas 40 − 5.42572 = 34.57428 ml at 333.15 instead of 293.15 K: 8.01325·40/34.57428 = 9.270764;
    # ·1.1364489 = 10.535750; left 34.57428 − 9.236282 = 25.337998; slow: ·34.57428/25.337998 = 14.376273;
    # − 1.01325 = 13.36302.
    reserve = Reserve(40.0, 14.0, 60.0, oil_volume=180.0, temperature_rise=40.0, density_15=870.0)
    assert reserve_margin(reserve) == pytest.approx(25.3380, abs=1e-4)
    assert reserve_pressure(reserve, 7.0, 1.0) == pytest.approx(13.36302, abs=1e-5)


def test_air_over_an_open_bath_by_hand() -> None:
    # Tube 36 mm: 1017.8760 mm² · 100 mm = 101.78760 ml, 12 ml of it hardware: 89.78760. Slider 40 mm:
    # 1256.6371·110 = 138.230077; out 228.017677; ratio 2.539523; n = 1, from 0.5 bar gauge (1.51325):
    # 3.842933; − 1.01325 = 2.82968.
    spring = gap_spring(36.0, 100.0, 40.0, stroke=110.0, hardware_volume=12.0, precharge=0.5, exponent=1.0)
    assert spring.volume_in == pytest.approx(89.78760, abs=5e-6)
    assert spring.compression_ratio == pytest.approx(2.539523, abs=1e-6)
    assert spring.gauge_pressure == pytest.approx(2.82968, abs=2e-5)


def test_oil_grows_as_the_density_table_says() -> None:
    # API MPMS chapter 11.1 (1980) = ASTM D1250-80, table 54D, by its formula and by hand: 870 kg/m³ at 15 °C,
    # from 20 to 70 °C: 5 K: 0.003618460 (above); 55 K: 0.039688506·1.031750805 = 0.040948648;
    # exp(0.037330188) − 1 = 0.0380357: 3.8 % on 100 ml.
    assert expansion(100.0, 20.0, 70.0, density_15=870.0) == pytest.approx(3.80357, abs=5e-5)


@pytest.mark.parametrize(
    ("value", "start", "end", "expected"),
    [
        # NIST SP 811: 1 in·lbf = 0.0254 m · 4.4482216152605 N, exact.
        (1.0, "in-lb", "N·m", 0.0254 * 4.4482216152605),
        # 1 ft = 12 in.
        (1.0, "ft-lb", "in-lb", 12.0),
        # 1 kgf = 9.80665 N, exact; 1 kgf·cm = 0.0980665 N·m.
        (1.0, "kgf·cm", "N·m", 0.0980665),
        (1.0, "kgf·m", "N·cm", 980.665),
    ],
)
def test_torque_units_are_exact(value: float, start: str, end: str, expected: float) -> None:
    assert convert_torque(value, start, end) == pytest.approx(expected, rel=1e-12)
