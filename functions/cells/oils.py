"""Cell functions of oil: viscosity, index, conversions, density and blends."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from dampcell.functions import blends, grades, oils, scales
from dampcell.functions.registry import Noted, cell_function
from dampcell.functions.tables import Column, RowLayout

__all__ = ["oil_convert", "oil_density", "oil_fit", "oil_index", "oil_mix", "oil_mix_ratio", "oil_viscosity"]

Row = Mapping[str, float | str | None]

MIX = RowLayout(
    (
        Column("viscosity", "mm²/s", meaning="kinematic viscosity, of all oils at one temperature"),
        Column("volume", "ml", meaning="volume, or parts"),
    )
)


@cell_function(family="Oil", result="viscosity")
def oil_viscosity(viscosity_40: float, viscosity_100: float, temperature: float) -> Noted:
    """Kinematic viscosity of an oil at a temperature, from its two data sheet values.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C, 0.21 to 2e7 [mm²/s].
    viscosity_100 : float
        Kinematic viscosity at 100 °C, below that at 40 °C [mm²/s].
    temperature : float
        Oil temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].

    Returns
    -------
    float
        Kinematic viscosity at the temperature [mm²/s].

    Raises
    ------
    InputError
        If the viscosity does not fall from 40 to 100 °C.
    ValidityError
        If a value or the result is outside the range of the equation.

    Notes
    -----
    log10 log10 Z = A − B log10 T with Z = ν + 0.7 + exp(−1.47 − 1.84 ν − 0.51 ν²)
    and T in kelvin. Noted as an extrapolation outside 0 to 100 °C.

    References
    ----------
    ASTM D341, viscosity-temperature equation with low-viscosity term.

    Examples
    --------
    >>> round(oil_viscosity(404.0, 28.0, 60.0), 3)
    132.126
    """
    return Noted(
        oils.kinematic_viscosity(viscosity_40, viscosity_100, temperature),
        oils.temperature_notes(temperature),
    )


@cell_function(family="Oil", result="viscosity")
def oil_fit(
    temperature_1: float, viscosity_1: float, temperature_2: float, viscosity_2: float, temperature: float
) -> Noted:
    """Kinematic viscosity of an oil at a temperature, from two measured points.

    Parameters
    ----------
    temperature_1 : float
        Temperature of the first measurement, −60 to 200 [°C].
    viscosity_1 : float
        Kinematic viscosity measured there, 0.21 to 2e7 [mm²/s].
    temperature_2 : float
        Temperature of the second measurement, not the same, −60 to 200 [°C].
    viscosity_2 : float
        Kinematic viscosity measured there, 0.21 to 2e7 [mm²/s].
    temperature : float
        Oil temperature, such as 40 or 100 for the data sheet values, −60 to 200 [°C].

    Returns
    -------
    float
        Kinematic viscosity at the temperature [mm²/s].

    Raises
    ------
    InputError
        If the temperatures are equal, or the viscosity does not fall as the oil gets warmer.
    ValidityError
        If a value or the result is outside the range of the equation.

    Notes
    -----
    The equation of OIL_VISCOSITY through the two points. Noted as an extrapolation
    outside 0 to 100 °C.

    References
    ----------
    ASTM D341, viscosity-temperature equation with low-viscosity term.

    Examples
    --------
    >>> round(oil_fit(40.0, 68.0, 80.0, 14.85, 100.0), 1)
    8.8
    """
    found = oils.fitted_viscosity(
        temperature_1, viscosity_1, temperature_2, viscosity_2=viscosity_2, temperature=temperature
    )
    return Noted(found, oils.temperature_notes(temperature))


@cell_function(family="Oil", result="viscosity_index")
def oil_index(viscosity_40: float, viscosity_100: float) -> Noted:
    """Viscosity index: how little the viscosity changes with temperature.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C [mm²/s].
    viscosity_100 : float
        Kinematic viscosity at 100 °C, at least 2 and below that at 40 °C [mm²/s].

    Returns
    -------
    float
        Viscosity index as a whole number, ties to even, not capped [-].

    Raises
    ------
    InputError
        If the viscosity does not fall from 40 to 100 °C.
    ValidityError
        Below 2 mm²/s at 100 °C, where the index is not defined.

    Notes
    -----
    Procedure A below an index of 100, procedure B above. Damper oils reach 200 to
    400; an index outside 0 to 400 is noted, as it usually is a slip.

    References
    ----------
    ASTM D2270-10(2016), table 1 and procedures A and B; the same as ISO 2909.

    Examples
    --------
    >>> oil_index(73.3, 8.86)
    92.0
    """
    index = grades.whole_index(grades.viscosity_index(viscosity_40, viscosity_100))
    notes = () if 0 <= index <= 400 else ("an index outside 0 to 400 is rare: check both viscosities",)
    return Noted(float(index), notes)


@cell_function(family="Oil", result="viscosity in the wanted unit")
def oil_convert(
    value: float,
    from_unit: str,
    to_unit: str,
    density: float | None = None,
    temperature: float | None = None,
) -> Noted:
    """Convert a viscosity between units and scales, old ones included.

    Parameters
    ----------
    value : float
        Viscosity as a plain number in `from_unit`, above 0 [-].
    from_unit : str
        mm²/s (cSt), m²/s, St, mPa·s (cP), Pa·s, P, SUS, SFS, °E or Redwood 1, in any case [-].
    to_unit : str
        One of the same [-].
    density : float, optional
        Density of the oil at that temperature, 500 to 2000; needed between kinematic
        and dynamic viscosity [kg/m³].
    temperature : float, optional
        Temperature of the measurement, −60 to 200; matters for Saybolt seconds, which are
        taken at 100 °F (universal) or 122 °F (Furol) if it is left out [°C].

    Returns
    -------
    float
        Viscosity in `to_unit`; the oil's temperature stays what it is [-].

    Raises
    ------
    InputError
        For an unknown unit, a missing density, or a value that is not above 0.
    ValidityError
        Where a scale is not defined.

    Notes
    -----
    mPa·s = mm²/s × density/1000. Engler degrees and Redwood seconds are approximate,
    which is noted.

    References
    ----------
    ASTM D2161 (Saybolt); Hydraulic Institute Engineering Data Book, 1990 (Engler);
    formula in common use for IP 70, from memory (Redwood).

    Examples
    --------
    >>> oil_convert(14.0, "cSt", "cP", 850.0)
    11.9
    """
    found = scales.convert_viscosity(value, from_unit, to_unit, density=density, temperature=temperature)
    return Noted(found.value, found.notes)


@cell_function(family="Oil", result="density")
def oil_density(density_15: float, temperature: float) -> float:
    """Density of a lubricating oil at a temperature, from that at 15 °C.

    Parameters
    ----------
    density_15 : float
        Density at 15 °C, 800 to 1164 [kg/m³].
    temperature : float
        Oil temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].

    Returns
    -------
    float
        Density at the temperature and at ambient pressure [kg/m³].

    Raises
    ------
    ValidityError
        If the density or the temperature is outside the range.

    Notes
    -----
    ρ = ρ15 exp(−α Δt (1 + 0.8 α Δt)), α = 0.6278/ρ15, Δt = T − 15 °C. For lubricating
    oils on a mineral base.

    References
    ----------
    API MPMS chapter 11.1 (1980) = ASTM D1250-80, table 54D.

    Examples
    --------
    >>> round(oil_density(870.0, 70.0), 2)
    835.09
    """
    return oils.density(density_15, temperature)


@cell_function(family="Oil", result="viscosity")
def oil_mix(mix: Annotated[list[Row], MIX]) -> Noted:
    """Kinematic viscosity of a blend of oils.

    Parameters
    ----------
    mix : table
        One oil per row: viscosity [mm²/s], all at one temperature; volume [ml] or parts.

    Returns
    -------
    float
        Kinematic viscosity of the blend at that temperature [mm²/s].

    Raises
    ------
    InputError
        If a row lacks its viscosity or volume.
    ValidityError
        If a viscosity is outside the range of the equation.

    Notes
    -----
    The double logarithm of Z (see OIL_VISCOSITY) is averaged by volume. Mix the values
    at 40 °C and those at 100 °C to know the blend at every temperature. Oils with index
    improvers may deviate, which is noted.

    References
    ----------
    ASTM D7152, blending by volume.

    Examples
    --------
    >>> round(oil_mix([[10.0, 50.0], [40.0, 50.0]]), 1)
    18.7
    """
    viscosities = [float(row["viscosity"] or 0.0) for row in mix]
    volumes = [float(row["volume"] or 0.0) for row in mix]
    return Noted(blends.blend_viscosity(viscosities, volumes), (blends.BLEND_NOTE,))


@cell_function(family="Oil", result="volume_share")
def oil_mix_ratio(viscosity_a: float, viscosity_b: float, target_viscosity: float) -> Noted:
    """Share of the first of two oils that gives a blend the wanted viscosity.

    Parameters
    ----------
    viscosity_a : float
        Kinematic viscosity of the first oil [mm²/s].
    viscosity_b : float
        Kinematic viscosity of the second oil at the same temperature, not the same [mm²/s].
    target_viscosity : float
        Kinematic viscosity wanted at that temperature, from one to the other [mm²/s].

    Returns
    -------
    float
        Volume of the first oil over that of the blend, 0 to 1 [-].

    Raises
    ------
    InputError
        If the two oils have the same viscosity.
    NoSolutionError
        If the target does not lie between the two oils.

    Notes
    -----
    The rule of OIL_MIX, solved for the share.

    References
    ----------
    ASTM D7152, blending by volume.

    Examples
    --------
    >>> round(oil_mix_ratio(10.0, 40.0, 20.0), 3)
    0.451
    """
    return Noted(blends.blend_share(viscosity_a, viscosity_b, target_viscosity), (blends.BLEND_NOTE,))
