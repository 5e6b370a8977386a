"""Cell functions of gas in a damper: trapped air, reserves, and the air over an open bath."""

from __future__ import annotations

from dampcell.functions import gases
from dampcell.functions.fills import DENSITY_15
from dampcell.functions.registry import Noted, cell_function

__all__ = ["air_effect", "air_spring", "reserve_margin", "reserve_pressure", "trapped_air"]

LITTLE_LEFT = 0.1  # part of the reserve below which its margin is called small; the limit is ours


@cell_function(family="Fill", result="trapped_air")
def trapped_air(
    free_stroke: float | None = None,
    rod_diameter: float | None = None,
    oil_shortfall: float | None = None,
    hand_force: float | None = None,
    exponent: float = gases.SLOW,
) -> Noted:
    """Air trapped in a damper, from the free stroke of the rod or from the shortfall of oil.

    Caution: only on a damper without gas pressure. Let the gas out by the maker's manual
    before you push the rod by hand or open anything.

    Parameters
    ----------
    free_stroke : float, optional
        How far the rod goes in by hand before it goes hard, above 0; this or the shortfall [mm].
    rod_diameter : float, optional
        Rod where it passes the seal, above 0; needed with the free stroke [mm].
    oil_shortfall : float, optional
        Oil that would not go in although by FILL_VOLUME it should have, above 0 [ml].
    hand_force : float, optional
        Force at which the rod feels hard, above 0; blank takes the air as squeezed to nothing [N].
    exponent : float, optional
        Polytropic exponent, 1.0 to 1.4; 1.0 (slow, the default) fits a push by hand [-].

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
    V = A s/(1 − (p_a/p)^(1/n)) with A = π/4 d² and p = p_a + F/A, absolute. A bladder or
    floating piston that gives way is felt as air too, so the result is then too high.

    References
    ----------
    Polytropic gas law, absolute pressures.

    Examples
    --------
    >>> round(trapped_air(20.0, 10.0), 2)
    1.57
    """
    found = gases.trapped_air(
        rod_diameter=rod_diameter,
        free_stroke=free_stroke,
        oil_shortfall=oil_shortfall,
        hand_force=hand_force,
        exponent=exponent,
    )
    low = free_stroke is not None and hand_force is None
    return Noted(found, ("a lower bound, as the force was not given",) if low else ())


@cell_function(
    family="Fill",
    result="effect of trapped air",
    columns=(("lost_stroke", "mm"), ("effective_modulus", "MPa"), ("modulus_ratio", "-")),
)
def air_effect(
    trapped_air: float,
    oil_volume: float,
    rod_diameter: float,
    gauge_pressure: float,
    precharge: float = 0.0,
    exponent: float = gases.FAST,
    bulk_modulus: float = gases.BULK_MODULUS,
) -> Noted:
    """Stroke lost to trapped air, and how soft the air makes the oil.

    Parameters
    ----------
    trapped_air : float
        Undissolved air as volume at atmospheric pressure, 0 or above [ml].
    oil_volume : float
        Oil that is pressed together with it, above 0 [ml].
    rod_diameter : float
        Rod or piston that presses it, above 0 [mm].
    gauge_pressure : float
        Pressure above atmospheric that the chamber reaches, not below the precharge [bar].
    precharge : float, optional
        Gas pressure above atmospheric at rest, 0 or above [bar].
    exponent : float, optional
        Polytropic exponent, 1.0 (slow) to 1.4 (fast, the default) [-].
    bulk_modulus : float, optional
        Bulk modulus of the oil without air, above 0 [MPa].

    Returns
    -------
    table
        One row: lost stroke [mm]; bulk modulus of the oil with its air [MPa]; that over the
        bulk modulus of the oil alone, 0 to 1 [-].

    Raises
    ------
    InputError
        If a value is out of range, or the pressure is below the precharge.
    ValidityError
        If the exponent is outside 1.0 to 1.4.

    Notes
    -----
    s = V_a ((p_a/p_0)^(1/n) − (p_a/p)^(1/n))/A; E = E_l (1 + a (p_a/p)^(1/n))/(1 + a E_l
    p_a^(1/n)/(n p^((n+1)/n))) with a = V_a/V_o; all pressures absolute. Air that dissolves
    under pressure is left out, so in a slow stroke the effect is smaller.

    References
    ----------
    Polytropic gas law and definition of the bulk modulus; 1724 MPa = 250 000 psi for oil:
    public hydraulics text (scribd 276067729).

    Examples
    --------
    >>> [[round(value, 2) for value in row] for row in air_effect(2.0, 100.0, 10.0, 20.0)]
    [[22.54, 737.19, 0.43]]
    """
    effect = gases.air_effect(
        trapped_air,
        oil_volume,
        rod_diameter,
        gauge_pressure=gauge_pressure,
        precharge=precharge,
        exponent=exponent,
        bulk_modulus=bulk_modulus,
    )
    return Noted(
        [[effect.lost_stroke, effect.effective_modulus, effect.modulus_ratio]], (_exponent_note(exponent),)
    )


@cell_function(family="Fill", result="gauge_pressure")
def reserve_pressure(
    reserve_volume: float,
    precharge: float,
    rod_diameter: float,
    stroke: float,
    oil_volume: float = 0.0,
    temperature_rise: float = 0.0,
    exponent: float = gases.FAST,
    density_15: float = DENSITY_15,
) -> Noted:
    """Gas pressure of a bladder or floating piston reserve at full stroke with hot oil.

    Caution: gas under pressure injures. Let it out by the maker's manual before anything is
    opened; charge with nitrogen and the maker's pressure only; a result above what the
    parts are rated for means do not ride.

    Parameters
    ----------
    reserve_volume : float
        Gas with the rod fully out and the oil as filled, above 0 [ml].
    precharge : float
        Gas pressure above atmospheric in that state, 0 or above [bar].
    rod_diameter : float
        Rod where it passes the seal, above 0 [mm].
    stroke : float
        Full travel of the rod, above 0 [mm].
    oil_volume : float, optional
        Oil in the damper, above 0; needed with a temperature rise [ml].
    temperature_rise : float, optional
        How much warmer the oil is than when it was filled at 20 °C, −60 to 150 [K].
    exponent : float, optional
        Polytropic exponent of the stroke, 1.0 (slow) to 1.4 (fast, the default) [-].
    density_15 : float, optional
        Density of the oil at 15 °C, 800 to 1164 [kg/m³].

    Returns
    -------
    float
        Pressure above atmospheric (gauge) [bar].

    Raises
    ------
    InputError
        If a size is out of range.
    ValidityError
        If the reserve cannot take the rod and the warm oil, or a value is outside its range.

    Notes
    -----
    Warm: p_h = p_0 (V_r/V_h)(T_h/T_0), V_h = V_r − growth of the oil; stroke: p = p_h (V_h/(V_h
    − V_rod))^n; absolute pressures and temperatures, the gas as warm as the oil. Ideal gas:
    nitrogen is off by a few percent above 100 bar. The oil has the pressure of the gas
    where no spring and no friction holds the piston.

    References
    ----------
    Ideal gas law and polytropic change of state; density as OIL_DENSITY.

    Examples
    --------
    >>> round(reserve_pressure(60.0, 10.0, 12.0, 100.0), 2)
    13.74
    """
    reserve = gases.Reserve(reserve_volume, rod_diameter, stroke, oil_volume, temperature_rise, density_15)
    found = gases.reserve_pressure(reserve, precharge, exponent)
    return Noted(found, (_exponent_note(exponent), *_margin_notes(reserve)))


@cell_function(family="Fill", result="reserve_margin")
def reserve_margin(
    reserve_volume: float,
    rod_diameter: float,
    stroke: float,
    oil_volume: float = 0.0,
    temperature_rise: float = 0.0,
    density_15: float = DENSITY_15,
) -> Noted:
    """Gas volume that a bladder or floating piston reserve has left at full stroke with hot oil.

    Caution: a reserve without margin stops the rod hard and can burst parts; it must not be
    ridden. Let gas pressure out by the maker's manual before anything is opened.

    Parameters
    ----------
    reserve_volume : float
        Gas with the rod fully out and the oil as filled, above 0 [ml].
    rod_diameter : float
        Rod where it passes the seal, above 0 [mm].
    stroke : float
        Full travel of the rod, above 0 [mm].
    oil_volume : float, optional
        Oil in the damper, above 0; needed with a temperature rise [ml].
    temperature_rise : float, optional
        How much warmer the oil is than when it was filled at 20 °C, −60 to 150 [K].
    density_15 : float, optional
        Density of the oil at 15 °C, 800 to 1164 [kg/m³].

    Returns
    -------
    float
        Margin; negative if the reserve is too small [ml].

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
    >>> round(reserve_margin(60.0, 12.0, 100.0, 180.0, 40.0), 2)
    43.2
    """
    reserve = gases.Reserve(reserve_volume, rod_diameter, stroke, oil_volume, temperature_rise, density_15)
    return Noted(gases.reserve_margin(reserve), _margin_notes(reserve))


@cell_function(
    family="Fill",
    result="air over the oil as a spring",
    columns=(
        ("gauge_pressure", "bar"),
        ("compression_ratio", "-"),
        ("air_volume_in", "ml"),
        ("air_volume_out", "ml"),
    ),
)
def air_spring(
    tube_inner_diameter: float,
    air_gap: float,
    slider_diameter: float,
    stroke: float,
    hardware_volume: float = 0.0,
    precharge: float = 0.0,
    exponent: float = gases.FAST,
) -> Noted:
    """Pressure and compression ratio of the air over the oil of a fork leg at full stroke.

    Caution: let air pressure out by the maker's manual before the cap is opened.

    Parameters
    ----------
    tube_inner_diameter : float
        Bore of the tube in which the gap is measured, above 0 [mm].
    air_gap : float
        From the top edge of the tube to the oil, leg fully in, above 0 [mm].
    slider_diameter : float
        Outer diameter of the tube that slides into the leg, above 0 [mm].
    stroke : float
        Travel from fully out to fully in, above 0 [mm].
    hardware_volume : float, optional
        Spring, spacer or cap within the gap, 0 or above [ml].
    precharge : float, optional
        Air pressure above atmospheric with the leg fully out, 0 or above [bar].
    exponent : float, optional
        Polytropic exponent, 1.0 (slow) to 1.4 (fast, the default) [-].

    Returns
    -------
    table
        One row: pressure above atmospheric at full stroke [bar]; compression ratio, above 1 [-];
        air at full stroke [ml]; air with the leg fully out [ml].

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
    >>> [[round(value, 2) for value in row] for row in air_spring(40.0, 120.0, 43.0, 120.0, 0.0, 0.0, 1.0)]
    [[1.17, 2.16, 150.8, 325.06]]
    """
    spring = gases.gap_spring(
        tube_inner_diameter,
        air_gap,
        slider_diameter,
        stroke=stroke,
        hardware_volume=hardware_volume,
        precharge=precharge,
        exponent=exponent,
    )
    return Noted(
        [[spring.gauge_pressure, spring.compression_ratio, spring.volume_in, spring.volume_out]],
        (_exponent_note(exponent),),
    )


def _exponent_note(exponent: float) -> str:
    speed = {gases.SLOW: " (slow)", gases.FAST: " (fast)"}.get(exponent, "")
    return f"gas exponent {exponent:g}{speed}"


def _margin_notes(reserve: gases.Reserve) -> tuple[str, ...]:
    margin = gases.reserve_margin(reserve)
    if margin <= 0.0:
        return (f"the reserve is too small by {-margin:.3g} ml, so the rod would stop hard: do not ride it",)
    if margin < LITTLE_LEFT * reserve.volume:
        return (f"only {margin:.3g} ml of gas are left at full stroke, less than a tenth of the reserve",)
    return ()
