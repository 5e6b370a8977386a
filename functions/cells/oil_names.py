"""Cell functions that name an oil: ISO, SAE and AGMA classes, and what a bottle label hides."""

from __future__ import annotations

from dampcell.functions import grades
from dampcell.functions.registry import Noted, cell_function

__all__ = ["oil_agma_number", "oil_engine_grade", "oil_gear_grade", "oil_grade", "oil_label"]


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


def _listed(bands: tuple[grades.Band, ...], standard: str) -> str:
    return ", ".join(f"SAE {band.name}" for band in bands) or f"no {standard} grade"
