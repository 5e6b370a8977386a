"""Oil volumes: what fills a damper, what a bleed takes, the gap over an open bath, expansion.

Everything here is geometry, and the density of the oil from `oils`. Lengths are in
mm and volumes in ml (1 ml = 1000 mm³). What gas does stands in `gases`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from dampcell.functions.checks import check_not_negative, check_positive, check_within
from dampcell.functions.errors import InputError
from dampcell.functions.oils import density

__all__ = [
    "DENSITY_15",
    "Bleed",
    "Cartridge",
    "bleed_volume",
    "bore_area",
    "expansion",
    "fill_volume",
    "gap_height",
    "gap_volume",
]

DENSITY_15: Final = (
    860.0  # typical damper oil in kg/m³, from memory (820 to 890); expansion hardly depends on it
)
SYRINGE_KEPT: Final = (
    0.5  # part of a syringe that stays full, so that it never draws air: common practice, no source
)


@dataclass(frozen=True, slots=True)
class Cartridge:
    """Geometry of the space that oil fills, at rest with the rod fully out.

    Parameters
    ----------
    tube_inner_diameter : float
        Inner diameter of the tube that holds the oil [mm], above 0.
    oil_length : float
        Closed cartridge: from the closed end of the tube to the seal head or cap. Open bath:
        from the bottom of the tube to the surface of the oil [mm], above 0.
    rod_diameter, rod_length_in_oil : float
        Rod in that column of oil; both or neither [mm].
    rod_bore_diameter, rod_bore_length : float
        Bore of a hollow rod, as far as oil fills it; both or neither [mm].
    hardware_volume : float
        Piston, valves, spring, cap and whatever else stands in the oil [ml].
    annulus_outer_diameter, annulus_inner_diameter, annulus_length : float
        Second space around the tube, such as the outer chamber of a twin tube, or the bath between
        a cartridge and its leg: bore of the outer tube, outside of the inner tube, length of the
        oil; all or none [mm].
    reservoir_volume : float
        Oil side of the reservoir, if its volume was measured [ml].
    reservoir_inner_diameter, reservoir_oil_length : float
        Oil side of the reservoir by its bore, and the length of the oil in it with the floating
        piston at its set depth; both or neither, and not together with `reservoir_volume` [mm].
    passage_volume : float
        Hose to the reservoir, ports and adjuster passages [ml].
    """

    tube_inner_diameter: float
    oil_length: float
    rod_diameter: float = 0.0
    rod_length_in_oil: float = 0.0
    rod_bore_diameter: float = 0.0
    rod_bore_length: float = 0.0
    hardware_volume: float = 0.0
    annulus_outer_diameter: float = 0.0
    annulus_inner_diameter: float = 0.0
    annulus_length: float = 0.0
    reservoir_volume: float = 0.0
    reservoir_inner_diameter: float = 0.0
    reservoir_oil_length: float = 0.0
    passage_volume: float = 0.0


@dataclass(frozen=True, slots=True)
class Bleed:
    """What a bleed takes; all volumes [ml]."""

    poured: float
    """Oil in the damper before the bleed."""
    top_up: float
    """Oil that the syringe has to give: for the air, the hose and the dead volume."""
    left_in_hose: float
    """The part of the top-up that does not stay in the damper."""
    kept_in_syringe: float
    """Oil left in the syringe so that it never draws air."""
    ready_for_bleed: float
    """Oil to have ready for the bleed alone, with waste."""
    ready_for_fill: float
    """Oil to have ready to fill and bleed, with waste."""


def bore_area(diameter: float) -> float:
    """Area of a circle.

    Parameters
    ----------
    diameter : float
        Diameter, 0 or above [mm].

    Returns
    -------
    float
        Area [mm²].

    Notes
    -----
    A = π d²/4.

    Examples
    --------
    >>> round(bore_area(20.0), 2)
    314.16
    """
    return 0.25 * math.pi * diameter**2


def fill_volume(cartridge: Cartridge) -> float:
    """Oil that fills a cartridge or a leg without any air.

    Parameters
    ----------
    cartridge : Cartridge
        Geometry with the rod fully out [mm, ml].

    Returns
    -------
    float
        Oil [ml], above 0.

    Raises
    ------
    InputError
        If a size is missing its partner, one thing does not fit into the other, or the
        solid parts fill the space.

    Notes
    -----
    V = π/4 [D² L − d_r² L_r + d_b² L_b + (D_a² − d_a²) L_a + D_res² L_res] − V_hardware +
    V_reservoir + V_passages. Cylinders without chamfers: a rim of 1 mm in a 25 mm
    bore is 0.5 ml.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> round(fill_volume(Cartridge(20.0, 300.0, rod_diameter=10.0, rod_length_in_oil=100.0)), 2)
    86.39
    """
    c = cartridge
    _check_cartridge(c)
    cubic_mm = (
        bore_area(c.tube_inner_diameter) * c.oil_length
        - bore_area(c.rod_diameter) * c.rod_length_in_oil
        + bore_area(c.rod_bore_diameter) * c.rod_bore_length
        + (bore_area(c.annulus_outer_diameter) - bore_area(c.annulus_inner_diameter)) * c.annulus_length
        + bore_area(c.reservoir_inner_diameter) * c.reservoir_oil_length
    )
    volume = cubic_mm / 1000.0 - c.hardware_volume + c.reservoir_volume + c.passage_volume
    if volume <= 0.0:
        raise InputError(
            "is larger than the space it stands in: no oil would fit",
            parameter="hardware_volume",
            found=c.hardware_volume,
            allowed=f"below {volume + c.hardware_volume:.4g} ml",
        )
    return volume


def bleed_volume(
    fill: float,
    air: float,
    *,
    hose_length: float = 0.0,
    hose_inner_diameter: float = 0.0,
    dead_volume: float = 0.0,
    syringe_volume: float = 0.0,
    waste_factor: float = 1.0,
) -> Bleed:
    """Oil that a bleed takes: poured, topped up, left in the hose, to have ready.

    Parameters
    ----------
    fill : float
        Oil that fills the damper without air, above 0 [ml].
    air : float
        Air in it when the bleed begins, 0 up to `fill` [ml].
    hose_length, hose_inner_diameter : float
        Bleed hose; both or neither [mm].
    dead_volume : float
        Fittings and tap, 0 or above [ml].
    syringe_volume : float
        Volume of the syringe, 0 or above [ml].
    waste_factor : float
        Oil taken over oil needed, 1 to 3 [-].

    Returns
    -------
    Bleed
        The volumes [ml].

    Raises
    ------
    InputError
        If a size is missing its partner or out of range, or there is more air than room.
    ValidityError
        If the waste factor is outside 1 to 3.

    Notes
    -----
    top-up = air + π/4 d_h² L_h + dead volume; poured = fill − air. Half the syringe
    stays full so that it never draws air (common practice, no source).

    References
    ----------
    Geometry.

    Examples
    --------
    >>> bleed_volume(180.0, 7.0, dead_volume=1.0, syringe_volume=50.0, waste_factor=1.5).ready_for_bleed
    49.5
    """
    check_positive("fill_volume", fill, "ml")
    check_not_negative("expected_air", air, "ml")
    check_not_negative("dead_volume", dead_volume, "ml")
    check_not_negative("syringe_volume", syringe_volume, "ml")
    check_within("waste_factor", waste_factor, 1.0, high=3.0, unit="")
    _check_together({"hose_length": hose_length, "hose_inner_diameter": hose_inner_diameter})
    if air > fill:
        raise InputError(
            "more air than room for oil",
            parameter="expected_air",
            found=air,
            allowed=f"up to the fill volume of {fill:.4g} ml",
        )
    left = bore_area(hose_inner_diameter) * hose_length / 1000.0 + dead_volume
    kept = SYRINGE_KEPT * syringe_volume
    return Bleed(
        poured=fill - air,
        top_up=air + left,
        left_in_hose=left,
        kept_in_syringe=kept,
        ready_for_bleed=waste_factor * (air + left + kept),
        ready_for_fill=waste_factor * (fill + left + kept),
    )


def gap_volume(tube_inner_diameter: float, gap: float, hardware_volume: float = 0.0) -> float:
    """Volume of the air over the oil in a tube.

    Parameters
    ----------
    tube_inner_diameter : float
        Inner diameter of the tube, above 0 [mm].
    gap : float
        Height of the air, 0 or above [mm].
    hardware_volume : float
        Solid parts within that height, 0 or above [ml].

    Returns
    -------
    float
        Air [ml], 0 or above.

    Raises
    ------
    InputError
        If a size is out of range, or the parts take more than the space.

    Notes
    -----
    V = π/4 D² h − V_hardware.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> round(gap_volume(25.0, 15.0), 2)
    7.36
    """
    check_positive("tube_inner_diameter", tube_inner_diameter, "mm")
    check_not_negative("air_gap", gap, "mm")
    check_not_negative("hardware_volume", hardware_volume, "ml")
    space = bore_area(tube_inner_diameter) * gap / 1000.0
    if hardware_volume > space:
        raise InputError(
            "is larger than the space it stands in",
            parameter="hardware_volume",
            found=hardware_volume,
            allowed=f"up to {space:.4g} ml",
        )
    return space - hardware_volume


def gap_height(tube_inner_diameter: float, air_volume: float, hardware_volume: float = 0.0) -> float:
    """Height of the air over the oil in a tube that holds a given volume of air.

    Parameters
    ----------
    tube_inner_diameter : float
        Inner diameter of the tube, above 0 [mm].
    air_volume : float
        Air, above 0 [ml].
    hardware_volume : float
        Solid parts within that height, 0 or above [ml].

    Returns
    -------
    float
        Air gap [mm], above 0.

    Raises
    ------
    InputError
        If a size is out of range.

    Notes
    -----
    h = (V + V_hardware)/(π/4 D²), the inverse of `gap_volume`.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> round(gap_height(25.0, 7.363), 1)
    15.0
    """
    check_positive("tube_inner_diameter", tube_inner_diameter, "mm")
    check_positive("air_volume", air_volume, "ml")
    check_not_negative("hardware_volume", hardware_volume, "ml")
    return 1000.0 * (air_volume + hardware_volume) / bore_area(tube_inner_diameter)


def expansion(
    oil_volume: float, temperature_1: float, temperature_2: float, *, density_15: float = DENSITY_15
) -> float:
    """Change of an oil's volume from one temperature to another.

    Parameters
    ----------
    oil_volume : float
        Volume at the first temperature, 0 or above [ml].
    temperature_1 : float
        First temperature, −60 to 200 [°C].
    temperature_2 : float
        Second temperature, −60 to 200 [°C].
    density_15 : float
        Density at 15 °C, 800 to 1164 [kg/m³].

    Returns
    -------
    float
        Growth of the volume, negative if it shrinks [ml].

    Raises
    ------
    InputError
        If the volume is negative.
    ValidityError
        If a temperature or the density is outside the range of the density formula.

    Notes
    -----
    ΔV = V (ρ(T1)/ρ(T2) − 1), at ambient pressure: the mass stays.

    References
    ----------
    API MPMS chapter 11.1 (1980) = ASTM D1250-80, table 54D, for the density.

    Examples
    --------
    >>> round(expansion(100.0, 20.0, 70.0, density_15=870.0), 2)
    3.8
    """
    check_not_negative("oil_volume", oil_volume, "ml")
    cold, hot = (density(density_15, temperature) for temperature in (temperature_1, temperature_2))
    return oil_volume * (cold / hot - 1.0)


def _check_cartridge(c: Cartridge) -> None:
    check_positive("tube_inner_diameter", c.tube_inner_diameter, "mm")
    check_positive("oil_length", c.oil_length, "mm")
    for name in ("hardware_volume", "reservoir_volume", "passage_volume"):
        check_not_negative(name, getattr(c, name), "ml")
    for group in (
        ("rod_diameter", "rod_length_in_oil"),
        ("rod_bore_diameter", "rod_bore_length"),
        ("annulus_outer_diameter", "annulus_inner_diameter", "annulus_length"),
        ("reservoir_inner_diameter", "reservoir_oil_length"),
    ):
        _check_together({name: getattr(c, name) for name in group})
    for inner, outer in (
        ("rod_diameter", "tube_inner_diameter"),
        ("rod_length_in_oil", "oil_length"),
        ("rod_bore_diameter", "rod_diameter"),
        ("annulus_inner_diameter", "annulus_outer_diameter"),
    ):
        _check_fits(c, inner, outer)
    if c.annulus_length and c.annulus_inner_diameter <= c.tube_inner_diameter:
        raise InputError(
            "the inner wall of the annulus is the outside of the tube, so it must be larger than its bore",
            parameter="annulus_inner_diameter",
            found=c.annulus_inner_diameter,
            allowed=f"above {c.tube_inner_diameter:g} mm",
        )
    if c.reservoir_volume and c.reservoir_oil_length:
        raise InputError(
            "is given twice, as a volume and by its bore and length",
            parameter="reservoir_volume",
            allowed="one of the two",
        )


def _check_fits(c: Cartridge, inner: str, outer: str) -> None:
    size, limit = float(getattr(c, inner)), float(getattr(c, outer))
    # A rod may be as long as the oil, but not as wide as the tube.
    fits = size <= limit if inner.endswith("oil") else size < limit
    if size and not fits:
        raise InputError(
            f"does not fit into the {outer.replace('_', ' ')}",
            parameter=inner,
            found=size,
            allowed=f"{'up to' if inner.endswith('oil') else 'below'} {limit:g} mm",
        )


def _check_together(sizes: dict[str, float]) -> None:
    for name, size in sizes.items():
        check_not_negative(name, size, "mm")
    missing = [name for name, size in sizes.items() if size == 0.0]
    if missing and len(missing) < len(sizes):
        given = next(name for name in sizes if name not in missing)
        raise InputError(
            f"is needed together with the {given.replace('_', ' ')}",
            parameter=missing[0],
            allowed="above 0 mm, or leave both blank"
            if len(sizes) == 2
            else "above 0 mm, or leave all blank",
        )
