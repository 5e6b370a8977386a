"""What gas does in a damper: trapped air, aerated oil, bladder and floating piston reserves, air springs.

Every gas law here takes absolute pressures; the arguments are gauge pressures, and
standard atmospheric pressure is added. The polytropic exponent is always stated:
1.0 for slow changes, in which the gas stays at the temperature of its surroundings,
1.4 for strokes so fast that it does not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from dampcell.functions.checks import check_not_negative, check_positive, check_within
from dampcell.functions.errors import InputError, ValidityError
from dampcell.functions.fills import DENSITY_15, bore_area, expansion, gap_volume
from dampcell.functions.units import convert

__all__ = [
    "BULK_MODULUS",
    "FAST",
    "SLOW",
    "AirEffect",
    "AirSpring",
    "Reserve",
    "aerated_modulus",
    "air_effect",
    "gap_spring",
    "reserve_margin",
    "reserve_pressure",
    "trapped_air",
]

ATMOSPHERE: Final = 1.01325  # bar, the standard atmosphere (ISO 2533), taken at every workshop
SLOW: Final = 1.0  # isothermal
FAST: Final = 1.4  # adiabatic, air and nitrogen (ratio of specific heats of a two-atom gas, 7/5)
BULK_MODULUS: Final = (
    1724.0  # MPa: 250 000 psi, about 0.4 % per 1000 psi (public hydraulics text, scribd 276067729)
)
FILLED_AT: Final = 20.0  # °C from which a temperature rise counts; expansion hardly depends on it
ZERO_CELSIUS: Final = 273.15
BAR_PER_MPA: Final = 10.0


@dataclass(frozen=True, slots=True)
class AirEffect:
    """What trapped air does to a damper."""

    lost_stroke: float
    """Rod travel that only squeezes the air [mm]."""
    effective_modulus: float
    """Bulk modulus of the oil with its air [MPa]."""
    modulus_ratio: float
    """That over the bulk modulus of the oil alone [-]."""


@dataclass(frozen=True, slots=True)
class AirSpring:
    """The air over an open bath as a spring."""

    volume_out: float
    """Air with the leg fully out [ml]."""
    volume_in: float
    """Air at full stroke [ml]."""
    compression_ratio: float
    """The first over the second [-]."""
    gauge_pressure: float
    """Pressure at full stroke, gauge [bar]."""


@dataclass(frozen=True, slots=True)
class Reserve:
    """A bladder or floating piston reserve, and what it has to take.

    Parameters
    ----------
    volume : float
        Gas with the rod fully out and the oil as filled [ml], above 0.
    rod_diameter : float
        Rod where it passes the seal [mm], above 0.
    stroke : float
        Full travel of the rod [mm], above 0.
    oil_volume : float
        Oil in the damper [ml], 0 or above; needed if it gets warmer.
    temperature_rise : float
        How much warmer the oil is than when it was filled at 20 °C [K], −60 to 150.
    density_15 : float
        Density of the oil at 15 °C [kg/m³], 800 to 1164.
    """

    volume: float
    rod_diameter: float
    stroke: float
    oil_volume: float = 0.0
    temperature_rise: float = 0.0
    density_15: float = DENSITY_15

    def rod_volume(self) -> float:
        """Volume that the rod takes at full stroke [ml]."""
        return bore_area(self.rod_diameter) * self.stroke / 1000.0

    def growth(self) -> float:
        """Volume that the warm oil takes in addition [ml]."""
        hot = FILLED_AT + self.temperature_rise
        return expansion(self.oil_volume, FILLED_AT, hot, density_15=self.density_15)

    def check(self) -> None:
        """Refuse sizes that make no sense."""
        check_positive("reserve_volume", self.volume, "ml")
        check_positive("rod_diameter", self.rod_diameter, "mm")
        check_positive("stroke", self.stroke, "mm")
        check_not_negative("oil_volume", self.oil_volume, "ml")
        check_within("temperature_rise", self.temperature_rise, -60.0, high=150.0, unit="K")
        if self.temperature_rise and not self.oil_volume:
            raise InputError(
                "is needed together with the temperature rise", parameter="oil_volume", allowed="above 0 ml"
            )


def trapped_air(
    *,
    rod_diameter: float | None = None,
    free_stroke: float | None = None,
    oil_shortfall: float | None = None,
    hand_force: float | None = None,
    exponent: float = SLOW,
) -> float:
    """Air trapped in a damper without gas pressure, from one of two signs of it.

    Parameters
    ----------
    rod_diameter : float, optional
        Rod where it passes the seal, needed with `free_stroke` [mm].
    free_stroke : float, optional
        Travel of the rod by hand before it goes hard, 0 or above [mm].
    oil_shortfall : float, optional
        Oil that would not go in although by the fill volume it should have, 0 or above [ml].
    hand_force : float, optional
        Force at which the rod feels hard, above 0; without it the air is taken as squeezed
        to nothing [N].
    exponent : float
        Polytropic exponent, 1.0 to 1.4 [-].

    Returns
    -------
    float
        Air as volume at atmospheric pressure [ml].

    Raises
    ------
    InputError
        If neither or both signs are given, the rod diameter is missing, or a size is out of range.
    ValidityError
        If the exponent is outside 1.0 to 1.4.

    Notes
    -----
    By stroke: V_a = A s/(1 − (p_a/p)^(1/n)), p = p_a + F/A with A = π/4 d². By shortfall:
    V_a is what is missing, as it was filled at atmospheric pressure.

    References
    ----------
    Polytropic gas law, absolute pressures.

    Examples
    --------
    >>> round(trapped_air(rod_diameter=10.0, free_stroke=20.0), 2)
    1.57
    """
    if (free_stroke is None) == (oil_shortfall is None):
        given = "neither is given" if free_stroke is None else "both are given"
        raise InputError(f"free stroke or oil shortfall: {given}", allowed="exactly one of the two")
    if oil_shortfall is not None:
        check_not_negative("oil_shortfall", oil_shortfall, "ml")
        return oil_shortfall
    if free_stroke is None or rod_diameter is None:
        raise InputError(
            "is needed together with the free stroke", parameter="rod_diameter", allowed="above 0 mm"
        )
    check_not_negative("free_stroke", free_stroke, "mm")
    check_positive("rod_diameter", rod_diameter, "mm")
    _check_exponent(exponent)
    pushed = bore_area(rod_diameter) * free_stroke / 1000.0
    if hand_force is None:
        return pushed
    check_positive("hand_force", hand_force, "N")
    pressure = convert(hand_force / bore_area(rod_diameter), "MPa", "bar")
    return pushed / (1.0 - _squeezed(pressure, exponent))


def aerated_modulus(
    gauge_pressure: float,
    air_ratio: float,
    bulk_modulus: float = BULK_MODULUS,
    *,
    exponent: float = FAST,
) -> float:
    """Bulk modulus of oil that carries undissolved air.

    Parameters
    ----------
    gauge_pressure : float
        Pressure above atmospheric, 0 or above [bar].
    air_ratio : float
        Volume of air at atmospheric pressure over volume of oil, 0 or above [-].
    bulk_modulus : float
        Bulk modulus of the oil alone, above 0 [MPa].
    exponent : float
        Polytropic exponent, 1.0 to 1.4 [-].

    Returns
    -------
    float
        Bulk modulus of the mixture [MPa].

    Raises
    ------
    InputError
        If a value is out of range.
    ValidityError
        If the exponent is outside 1.0 to 1.4.

    Notes
    -----
    E = E_l (1 + a (p_a/p)^(1/n))/(1 + a E_l p_a^(1/n)/(n p^((n+1)/n))), absolute pressures.
    It is −V dp/dV of V = V_l + a V_l (p_a/p)^(1/n) with dV_l = −V_l dp/E_l. Air that
    dissolves under pressure and the rise of E_l with pressure are left out.

    References
    ----------
    Derived from the definition of the bulk modulus and the polytropic gas law.

    Examples
    --------
    >>> aerated_modulus(50.0, 0.0, 1700.0)
    1700.0
    """
    check_not_negative("gauge_pressure", gauge_pressure, "bar")
    check_not_negative("trapped_air", air_ratio, "ml per ml of oil")
    check_positive("bulk_modulus", bulk_modulus, "MPa")
    _check_exponent(exponent)
    air = air_ratio * _squeezed(gauge_pressure, exponent)
    absolute = (gauge_pressure + ATMOSPHERE) / BAR_PER_MPA
    return bulk_modulus * (1.0 + air) / (1.0 + air * bulk_modulus / (exponent * absolute))


def air_effect(
    air: float,
    oil_volume: float,
    rod_diameter: float,
    *,
    gauge_pressure: float,
    precharge: float = 0.0,
    exponent: float = FAST,
    bulk_modulus: float = BULK_MODULUS,
) -> AirEffect:
    """Rod travel lost to trapped air, and how soft it makes the oil.

    Parameters
    ----------
    air : float
        Undissolved air as volume at atmospheric pressure, 0 or above [ml].
    oil_volume : float
        Oil that is pressed together with it, above 0 [ml].
    rod_diameter : float
        Rod or piston that presses it, above 0 [mm].
    gauge_pressure : float
        Pressure that the chamber reaches, not below `precharge`, gauge [bar].
    precharge : float
        Pressure at rest, 0 or above, gauge [bar].
    exponent : float
        Polytropic exponent, 1.0 to 1.4 [-].
    bulk_modulus : float
        Bulk modulus of the oil alone, above 0 [MPa].

    Returns
    -------
    AirEffect
        Lost stroke [mm], modulus [MPa] and its ratio [-].

    Raises
    ------
    InputError
        If a value is out of range, or the pressure is below the precharge.
    ValidityError
        If the exponent is outside 1.0 to 1.4.

    Notes
    -----
    s = V_a ((p_a/p_0)^(1/n) − (p_a/p)^(1/n))/A, absolute pressures; modulus as `aerated_modulus`.

    References
    ----------
    Polytropic gas law; aerated oil as `aerated_modulus`.

    Examples
    --------
    >>> effect = air_effect(2.0, 100.0, 10.0, gauge_pressure=20.0)
    >>> round(effect.lost_stroke, 1), round(effect.modulus_ratio, 2)
    (22.5, 0.43)
    """
    check_not_negative("trapped_air", air, "ml")
    check_positive("oil_volume", oil_volume, "ml")
    check_positive("rod_diameter", rod_diameter, "mm")
    check_not_negative("precharge", precharge, "bar")
    modulus = aerated_modulus(gauge_pressure, air / oil_volume, bulk_modulus, exponent=exponent)
    if gauge_pressure < precharge:
        raise InputError(
            "is below the precharge, which acts from the start",
            parameter="gauge_pressure",
            found=gauge_pressure,
            allowed=f"{precharge:g} bar or more",
        )
    squeezed_away = air * (_squeezed(precharge, exponent) - _squeezed(gauge_pressure, exponent))
    return AirEffect(
        lost_stroke=1000.0 * squeezed_away / bore_area(rod_diameter),
        effective_modulus=modulus,
        modulus_ratio=modulus / bulk_modulus,
    )


def reserve_margin(reserve: Reserve) -> float:
    """Gas volume that is left in a reserve at full stroke with hot oil.

    Parameters
    ----------
    reserve : Reserve
        The reserve and what it has to take [ml, mm, K].

    Returns
    -------
    float
        Margin, negative if the reserve is too small [ml].

    Raises
    ------
    InputError
        If a size is out of range.
    ValidityError
        If the temperature rise or the density is outside its range.

    Notes
    -----
    V_m = V_r − π/4 d² s − V_o (ρ(20 °C)/ρ(20 °C + ΔT) − 1).

    References
    ----------
    Geometry; density as OIL_DENSITY.

    Examples
    --------
    >>> round(reserve_margin(Reserve(60.0, 12.0, 100.0)), 2)
    48.69
    """
    reserve.check()
    return reserve.volume - reserve.rod_volume() - reserve.growth()


def reserve_pressure(reserve: Reserve, precharge: float, exponent: float = FAST) -> float:
    """Gas pressure of a reserve at full stroke with hot oil.

    Parameters
    ----------
    reserve : Reserve
        The reserve and what it has to take [ml, mm, K].
    precharge : float
        Gas pressure with the rod fully out, as filled, 0 or above, gauge [bar].
    exponent : float
        Polytropic exponent of the stroke, 1.0 to 1.4 [-].

    Returns
    -------
    float
        Pressure, gauge [bar].

    Raises
    ------
    InputError
        If a size is out of range.
    ValidityError
        If the reserve cannot take the rod and the warm oil, or a value is outside its range.

    Notes
    -----
    The oil warms slowly and its gas with it: p_h = p_0 (V_r/V_h)(T_h/T_0), V_h = V_r − growth
    of the oil. Then the stroke: p = p_h (V_h/(V_h − V_rod))^n. Absolute pressures and
    temperatures, ideal gas: real nitrogen is off by a few percent above 100 bar.

    References
    ----------
    Ideal gas law and polytropic change of state.

    Examples
    --------
    >>> round(reserve_pressure(Reserve(60.0, 12.0, 100.0), 10.0, 1.0), 2)
    12.56
    """
    check_not_negative("precharge", precharge, "bar")
    _check_exponent(exponent)
    left = reserve_margin(reserve)
    warm = left + reserve.rod_volume()
    if left <= 0.0:
        raise ValidityError(
            f"is too small: the rod takes {reserve.rod_volume():.3g} ml and the warm oil "
            f"{reserve.growth():.3g} ml, so the rod would stop before its end",
            parameter="reserve_volume",
            found=reserve.volume,
            allowed=f"above {reserve.volume - left:.4g} ml",
        )
    warmed = 1.0 + reserve.temperature_rise / (FILLED_AT + ZERO_CELSIUS)
    heated = (precharge + ATMOSPHERE) * reserve.volume / warm * warmed
    return float(heated * (warm / left) ** exponent) - ATMOSPHERE


def gap_spring(
    tube_inner_diameter: float,
    air_gap: float,
    slider_diameter: float,
    *,
    stroke: float,
    hardware_volume: float = 0.0,
    precharge: float = 0.0,
    exponent: float = FAST,
) -> AirSpring:
    """The air over the oil of a fork leg as a spring, at full stroke.

    Parameters
    ----------
    tube_inner_diameter : float
        Inner diameter of the tube in which the gap is measured, above 0 [mm].
    air_gap : float
        From the top edge of the tube to the oil, leg fully in, above 0 [mm].
    slider_diameter : float
        Outer diameter of the tube that slides into the leg, above 0 [mm].
    stroke : float
        Travel from fully out to fully in, above 0 [mm].
    hardware_volume : float
        Cap, spring and spacer within the gap, 0 or above [ml].
    precharge : float
        Air pressure with the leg fully out, 0 or above, gauge [bar].
    exponent : float
        Polytropic exponent, 1.0 to 1.4 [-].

    Returns
    -------
    AirSpring
        Volumes [ml], ratio [-] and gauge pressure [bar].

    Raises
    ------
    InputError
        If a size is out of range, or no air is left at full stroke.
    ValidityError
        If the exponent is outside 1.0 to 1.4.

    Notes
    -----
    V_in = π/4 D² h − V_hardware; V_out = V_in + π/4 D_s² s; p = p_0 (V_out/V_in)^n, absolute
    pressures. The sliding tube takes its full outer section from the air.

    References
    ----------
    Geometry; polytropic gas law.

    Examples
    --------
    >>> round(gap_spring(40.0, 120.0, 43.0, stroke=120.0, exponent=1.0).gauge_pressure, 2)
    1.17
    """
    check_positive("air_gap", air_gap, "mm")
    check_positive("slider_diameter", slider_diameter, "mm")
    check_positive("stroke", stroke, "mm")
    check_not_negative("precharge", precharge, "bar")
    _check_exponent(exponent)
    inner = gap_volume(tube_inner_diameter, air_gap, hardware_volume)
    check_positive("air volume at full stroke", inner, "ml")
    outer = inner + bore_area(slider_diameter) * stroke / 1000.0
    ratio = outer / inner
    return AirSpring(
        volume_out=outer,
        volume_in=inner,
        compression_ratio=ratio,
        gauge_pressure=float((precharge + ATMOSPHERE) * ratio**exponent) - ATMOSPHERE,
    )


def _squeezed(gauge_pressure: float, exponent: float) -> float:
    """Volume of a gas at a gauge pressure over that at atmospheric pressure."""
    return float((ATMOSPHERE / (gauge_pressure + ATMOSPHERE)) ** (1.0 / exponent))


def _check_exponent(exponent: float) -> None:
    check_within("exponent", exponent, SLOW, high=FAST, unit="")
