"""Cell functions of fills: oil volumes, bleeds, air gaps and expansion."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from dampcell.functions import fills
from dampcell.functions.registry import Noted, cell_function
from dampcell.functions.tables import Column, PairLayout

__all__ = ["CARTRIDGE", "air_gap", "air_gap_volume", "bleed_volume", "fill_volume", "oil_expansion"]

Row = Mapping[str, float | str | None]

CARTRIDGE = PairLayout(
    (
        Column("tube_inner_diameter", "mm", meaning="inner diameter of the tube that holds the oil"),
        Column(
            "oil_length",
            "mm",
            meaning="closed: from the closed end to the seal head or cap; open bath: up to the oil",
        ),
        Column("rod_diameter", "mm", False, default=0.0, meaning="rod in that column of oil"),
        Column("rod_length_in_oil", "mm", False, default=0.0, meaning="its length there, rod fully out"),
        Column("rod_bore_diameter", "mm", False, default=0.0, meaning="bore of a hollow rod that oil fills"),
        Column("rod_bore_length", "mm", False, default=0.0, meaning="length of that bore"),
        Column("hardware_volume", "ml", False, default=0.0, meaning="piston, valves, spring in the oil"),
        Column("annulus_outer_diameter", "mm", False, default=0.0, meaning="second space: outer tube's bore"),
        Column("annulus_inner_diameter", "mm", False, default=0.0, meaning="outside of the tube within it"),
        Column("annulus_length", "mm", False, default=0.0, meaning="length of the oil there"),
        Column("reservoir_volume", "ml", False, default=0.0, meaning="oil side of the reservoir, measured"),
        Column("reservoir_inner_diameter", "mm", False, default=0.0, meaning="or: bore of the reservoir"),
        Column("reservoir_oil_length", "mm", False, default=0.0, meaning="with length of the oil in it"),
        Column("passage_volume", "ml", False, default=0.0, meaning="hose to the reservoir, ports, passages"),
    )
)


@cell_function(family="Fill", result="fill_volume")
def fill_volume(cartridge: Annotated[Row, CARTRIDGE]) -> float:
    """Oil that fills a cartridge or a fork leg without any air.

    Closed cartridge with bladder or floating piston: measure the oil side only, rod
    fully out, bladder expanded or floating piston at its set depth. Open bath leg: take
    the oil length up to the surface (or use AIR_GAP_VOLUME), everything that stands in
    the oil as hardware. The maker's manual comes first.

    Parameters
    ----------
    cartridge : table
        Names and values, above 0; blank ones are left out. Needed: tube inner diameter, oil
        length (from the closed end of the tube to the seal head, cap, or surface of an open
        bath). Optional, all 0 by default: rod diameter, rod length in oil, rod bore diameter,
        rod bore length (a hollow rod full of oil), annulus outer diameter, annulus inner
        diameter, annulus length (second space around the tube), reservoir inner diameter and
        reservoir oil length [mm]; hardware volume, reservoir volume (instead of its bore and
        length), passage volume [ml].

    Returns
    -------
    float
        Oil, above 0 [ml].

    Raises
    ------
    InputError
        For an unknown or unreadable entry, a size without its partner, a thing that does not
        fit into the other, or no room for oil.

    Notes
    -----
    V = π/4 [D² L − d_r² L_r + d_b² L_b + (D_a² − d_a²) L_a + D_res² L_res] − V_hardware +
    V_reservoir + V_passages. Hardware is best measured by the water it displaces
    (common practice, no source).

    References
    ----------
    Geometry.

    Examples
    --------
    >>> round(
    ...     fill_volume(
    ...         [
    ...             ["tube inner diameter", 25.0],
    ...             ["oil length", 260.0],
    ...             ["rod diameter", 10.0],
    ...             ["rod length in oil", 180.0],
    ...             ["hardware volume", 9.0],
    ...             ["reservoir volume", 38.0],
    ...         ]
    ...     ),
    ...     1,
    ... )
    142.5
    """
    return fills.fill_volume(
        fills.Cartridge(**{name: float(size or 0.0) for name, size in cartridge.items()})
    )


@cell_function(family="Fill", result="volumes of a bleed", columns=(("volume", "ml"), ("meaning", "-")))
def bleed_volume(
    fill_volume: float,
    expected_air: float = 0.0,
    tube_inner_diameter: float = 0.0,
    refit_gap: float = 0.0,
    hose_length: float = 0.0,
    hose_inner_diameter: float = 0.0,
    dead_volume: float = 0.0,
    syringe_volume: float = 0.0,
    waste_factor: float = 1.0,
) -> Noted:
    """Top-up of a bleed, and how much oil to have ready for it.

    Parameters
    ----------
    fill_volume : float
        Oil that fills the damper without air, above 0; see FILL_VOLUME [ml].
    expected_air : float, optional
        Air in the damper when the bleed begins, besides that of the refit gap, 0 or above [ml].
    tube_inner_diameter : float, optional
        Bore of the tube that is open when the cap or valve is refitted, above 0; needed with
        a refit gap [mm].
    refit_gap : float, optional
        Depth of the oil under the part that closes the tube, 0 or above [mm].
    hose_length : float, optional
        Bleed hose, above 0; needed with its bore [mm].
    hose_inner_diameter : float, optional
        Bore of the bleed hose, above 0; needed with its length [mm].
    dead_volume : float, optional
        Fittings and tap, 0 or above [ml].
    syringe_volume : float, optional
        Syringe, 0 or above; half of it stays full so that it never draws air [ml].
    waste_factor : float, optional
        Oil taken over oil needed, 1 to 3 [-].

    Returns
    -------
    table
        Volume and what it is, one row each: top-up; ready for the bleed alone; ready to fill
        and bleed; poured before the bleed; left in hose and fittings; kept in the syringe [ml].

    Raises
    ------
    InputError
        If a size is missing its partner or out of range, or there is more air than room.
    ValidityError
        If the waste factor is outside 1 to 3.

    Notes
    -----
    top-up = expected air + π/4 D² h + π/4 d_h² L_h + dead volume. A top-up after refitting
    usually takes about 7 to 10 ml (common practice, no source): one far from that points
    to a wrong measure or to air elsewhere. Spills as two columns.

    References
    ----------
    Geometry; half the syringe and the usual top-up: common practice, no source.

    Examples
    --------
    >>> bleed_volume(142.5, 0.5, 25.0, 14.0, 200.0, 3.0, 0.3, 50.0, 1.2)[0]
    [9.08595..., 'top-up']
    """
    gap = fills.gap_volume(tube_inner_diameter, refit_gap) if tube_inner_diameter or refit_gap else 0.0
    bleed = fills.bleed_volume(
        fill_volume,
        expected_air + gap,
        hose_length=hose_length,
        hose_inner_diameter=hose_inner_diameter,
        dead_volume=dead_volume,
        syringe_volume=syringe_volume,
        waste_factor=waste_factor,
    )
    notes = []
    if expected_air + gap == 0.0:
        notes.append(
            "no air is expected, so the top-up only fills hose and fittings: give air or a refit gap"
        )
    if 0.0 < syringe_volume < bleed.top_up + bleed.kept_in_syringe:
        notes.append("the syringe has to be filled again during the bleed: stop at half of it")
    rows: list[list[object]] = [
        [bleed.top_up, "top-up"],
        [bleed.ready_for_bleed, "ready for the bleed alone"],
        [bleed.ready_for_fill, "ready to fill and bleed"],
        [bleed.poured, "poured before the bleed"],
        [bleed.left_in_hose, "left in hose and fittings"],
        [bleed.kept_in_syringe, "kept in the syringe"],
    ]
    return Noted(rows, tuple(notes))


@cell_function(family="Fill", result="air_gap")
def air_gap(tube_inner_diameter: float, air_volume: float, hardware_volume: float = 0.0) -> float:
    """Air gap of an open fork leg that holds a given volume of air.

    Parameters
    ----------
    tube_inner_diameter : float
        Bore of the tube in which the gap is measured, above 0 [mm].
    air_volume : float
        Air over the oil, above 0 [ml].
    hardware_volume : float, optional
        Spring, spacer or cap within the gap, 0 or above [ml].

    Returns
    -------
    float
        From the top edge of the tube to the oil, above 0 [mm].

    Raises
    ------
    InputError
        If a size is out of range.

    Notes
    -----
    h = (V + V_hardware)/(π/4 D²). Usually measured with the leg fully in and the spring out
    (common practice, no source); the maker's manual says how.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> round(air_gap(40.0, 150.0), 1)
    119.4
    """
    return fills.gap_height(tube_inner_diameter, air_volume, hardware_volume)


@cell_function(family="Fill", result="air_volume")
def air_gap_volume(tube_inner_diameter: float, air_gap: float, hardware_volume: float = 0.0) -> float:
    """Volume of air over the oil of an open fork leg, from the air gap.

    Parameters
    ----------
    tube_inner_diameter : float
        Bore of the tube in which the gap is measured, above 0 [mm].
    air_gap : float
        From the top edge of the tube to the oil, above 0 [mm].
    hardware_volume : float, optional
        Spring, spacer or cap within the gap, 0 or above [ml].

    Returns
    -------
    float
        Air, 0 or above; the difference of two gaps is the oil to add or take out [ml].

    Raises
    ------
    InputError
        If a size is out of range, or the parts take more than the space.

    Notes
    -----
    V = π/4 D² h − V_hardware, the inverse of AIR_GAP.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> round(air_gap_volume(40.0, 120.0), 1)
    150.8
    """
    return fills.gap_volume(tube_inner_diameter, air_gap, hardware_volume)


@cell_function(family="Fill", result="volume_change")
def oil_expansion(
    oil_volume: float, temperature_1: float, temperature_2: float, density_15: float = fills.DENSITY_15
) -> float:
    """How much a volume of oil grows from one temperature to another.

    Parameters
    ----------
    oil_volume : float
        Volume at the first temperature, above 0 [ml].
    temperature_1 : float
        First temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].
    temperature_2 : float
        Second temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].
    density_15 : float, optional
        Density at 15 °C, 800 to 1164 [kg/m³].

    Returns
    -------
    float
        Growth, negative if the oil shrinks [ml].

    Raises
    ------
    InputError
        If the volume is negative.
    ValidityError
        If a temperature or the density is outside the range of the density formula.

    Notes
    -----
    ΔV = V (ρ(T1)/ρ(T2) − 1), see OIL_DENSITY. The default of 860 kg/m³ is typical, from
    memory; the result hardly depends on it.

    References
    ----------
    API MPMS chapter 11.1 (1980) = ASTM D1250-80, table 54D, for the density.

    Examples
    --------
    >>> round(oil_expansion(100.0, 20.0, 70.0, 870.0), 2)
    3.8
    """
    return fills.expansion(oil_volume, temperature_1, temperature_2, density_15=density_15)
