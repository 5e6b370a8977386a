"""Cell functions of oil: viscosity, index, grades, conversions, blends and density."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from dampcell.functions import blends, grades, oils, scales
from dampcell.functions.registry import Noted, cell_function
from dampcell.functions.tables import Column, RowLayout

__all__ = [
    "oil_agma_number",
    "oil_convert",
    "oil_density",
    "oil_engine_grade",
    "oil_fit",
    "oil_gear_grade",
    "oil_grade",
    "oil_index",
    "oil_label",
    "oil_mix",
    "oil_mix_ratio",
    "oil_viscosity",
]

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


@cell_function(family="Oil", result="ISO viscosity class")
def oil_grade(viscosity_40: float) -> str:
    """ISO viscosity class nearest to an oil, and whether the oil lies in its band.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C, 1.98 to 3520 [mm²/s].

    Returns
    -------
    str
        Class, its band, and how far outside the oil lies if it does [-].

    Raises
    ------
    ValidityError
        Below the first and above the last class.

    Notes
    -----
    The bands reach 10 % to both sides of the middle, so there are gaps between them.

    References
    ----------
    ISO 3448:1992; the same as ASTM D2422.

    Examples
    --------
    >>> oil_grade(14.0)
    'ISO VG 15, in its band of 13.5 to 16.5 mm²/s'
    >>> oil_grade(17.0)
    'no ISO VG class; nearest is ISO VG 15, 0.5 mm²/s above its band of 13.5 to 16.5 mm²/s'
    """
    found = grades.iso_class(viscosity_40)
    band = f"its band of {found.low:g} to {found.high:g} mm²/s"
    if found.inside:
        return f"ISO VG {found.vg}, in {band}"
    side = "above" if found.beyond > 0 else "below"
    return f"no ISO VG class; nearest is ISO VG {found.vg}, {abs(found.beyond):.3g} mm²/s {side} {band}"


@cell_function(family="Oil", result="SAE grades of engine oil")
def oil_engine_grade(viscosity_100: float) -> str:
    """SAE engine oil grades whose band holds this viscosity at 100 °C.

    Parameters
    ----------
    viscosity_100 : float
        Kinematic viscosity at 100 °C, above 0 [mm²/s].

    Returns
    -------
    str
        All grades that fit, as they overlap; or that there is none [-].

    Raises
    ------
    ValidityError
        If the viscosity is not above 0.

    Notes
    -----
    By the viscosity at 100 °C alone; the W grades need tests in the cold, and the
    grade also asks for viscosity at high shear. A bottle of damper oil with "10W" on
    it says neither.

    References
    ----------
    SAE J300 (grades of 2015/2021, as on public charts).

    Examples
    --------
    >>> oil_engine_grade(7.0)
    'SAE 12, SAE 16, SAE 20'
    """
    return _listed(grades.sae_grades(viscosity_100, "J300"), "SAE J300")


@cell_function(family="Oil", result="SAE grades of gear oil")
def oil_gear_grade(viscosity_100: float) -> str:
    """SAE gear oil grade whose band holds this viscosity at 100 °C.

    Parameters
    ----------
    viscosity_100 : float
        Kinematic viscosity at 100 °C, above 0 [mm²/s].

    Returns
    -------
    str
        The grade, or that there is none [-].

    Raises
    ------
    ValidityError
        If the viscosity is not above 0.

    Notes
    -----
    By the viscosity at 100 °C alone; the W grades need tests in the cold.

    References
    ----------
    SAE J306 (February 2019, as on a public chart).

    Examples
    --------
    >>> oil_gear_grade(14.0)
    'SAE 90'
    """
    return _listed(grades.sae_grades(viscosity_100, "J306"), "SAE J306")


@cell_function(family="Oil", result="AGMA lubricant number")
def oil_agma_number(viscosity_40: float) -> Noted:
    """AGMA lubricant number of a gear oil, from its viscosity at 40 °C.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C, 1.98 to 3520 [mm²/s].

    Returns
    -------
    str
        The number, or that there is none [-].

    Raises
    ------
    ValidityError
        Outside the ISO viscosity classes.

    Notes
    -----
    For gear oils only, never for damper oil.

    References
    ----------
    AGMA lubricant numbers with their ISO VG equivalents, as listed publicly.

    Examples
    --------
    >>> oil_agma_number(100.0)
    'AGMA 3'
    """
    found = ", ".join(f"AGMA {number}" for number in grades.agma_numbers(viscosity_40))
    return Noted(found or "no AGMA number", ("AGMA numbers are for gear oils only, never for damper oil",))


@cell_function(
    family="Oil",
    result="range of viscosity at 40 °C",
    columns=(
        ("low", "mm²/s"),
        ("middle", "mm²/s"),
        ("high", "mm²/s"),
    ),
)
def oil_label(label: str) -> Noted:
    """What viscosity at 40 °C typically hides behind the "weight" on a bottle.

    Parameters
    ----------
    label : str
        Weight on the bottle: 2.5, 5, 7.5, 10, 15 or 20, with or without "wt" [-].

    Returns
    -------
    list
        Low, middle and high kinematic viscosity at 40 °C [mm²/s].

    Raises
    ------
    InputError
        If the label is not one of these; nothing is interpolated.

    Notes
    -----
    The weight is no standard: two bottles of the same weight can differ twofold.
    Take the viscosity from the data sheet instead.

    References
    ----------
    Common practice, from memory, no source.

    Examples
    --------
    >>> oil_label("2.5 wt")
    [[7.0, 14.0, 16.0]]
    """
    found = grades.label_range(label)
    return Noted([[found.low, found.middle, found.high]], (grades.LABEL_NOTE,))


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


def _listed(bands: tuple[grades.Band, ...], standard: str) -> str:
    return ", ".join(f"SAE {band.name}" for band in bands) or f"no {standard} grade"
