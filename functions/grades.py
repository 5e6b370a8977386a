"""Names for oils: viscosity index, ISO, SAE and AGMA classes, and what a bottle label hides.

Classes are bands of viscosity. Some leave gaps (ISO 3448), some overlap (SAE
J300), and the "weight" on a bottle of damper oil is none of them.
"""

from __future__ import annotations

import bisect
import functools
import math
import re
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from dampcell.functions.data import read_table
from dampcell.functions.errors import InputError, ValidityError
from dampcell.functions.oils import check_order, check_viscosity
from dampcell.functions.roots import Floats, increasing_root

__all__ = [
    "LABEL_NOTE",
    "Band",
    "IsoClass",
    "LabelRange",
    "agma_numbers",
    "index_limits",
    "iso_class",
    "label_range",
    "sae_grades",
    "viscosity_100_of_index",
    "viscosity_index",
    "whole_index",
]

LEAST_INDEX_VISCOSITY: Final = 2.0  # ASTM D2270: below it the index "is not defined and may not be reported"
MOST_TABLED: Final = 70.0
LABEL_NOTE: Final = (
    'the "weight" on a bottle is no standard, and these ranges are common practice without a source: '
    "take the viscosity at 40 °C in mm²/s (cSt) from the oil's data sheet"
)


@dataclass(frozen=True, slots=True)
class Band:
    """A class of oils.

    Parameters
    ----------
    name : text
        Name of the class.
    low, high : float
        Limits of the kinematic viscosity; `high` is infinite where there is none [mm²/s].
    """

    name: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class IsoClass:
    """Where an oil stands among the ISO viscosity classes.

    Parameters
    ----------
    vg : int
        Number of the nearest class.
    low, high : float
        Its band, limits included [mm²/s].
    inside : bool
        Whether the oil lies within the band.
    beyond : float
        How far it lies above the band, or below it if negative; 0 inside [mm²/s].
    """

    vg: int
    low: float
    high: float
    inside: bool
    beyond: float


@dataclass(frozen=True, slots=True)
class LabelRange:
    """What viscosity a label typically hides.

    Parameters
    ----------
    low, middle, high : float
        Kinematic viscosity at 40 °C [mm²/s].
    """

    low: float
    middle: float
    high: float


def index_limits(viscosity_100: float) -> tuple[float, float]:
    """L and H of the viscosity index: viscosities at 40 °C of the two reference oils.

    Parameters
    ----------
    viscosity_100 : float
        Kinematic viscosity at 100 °C, at least 2 [mm²/s].

    Returns
    -------
    tuple of float
        L (reference oil of index 0) and H (of index 100) [mm²/s].

    Raises
    ------
    ValidityError
        Below 2 mm²/s, where the index is not defined.

    Notes
    -----
    Up to 70 mm²/s linear interpolation in Table 1; above,
    L = 0.8353 Y² + 14.67 Y − 216 and H = 0.1684 Y² + 11.85 Y − 97.

    References
    ----------
    ASTM D2270-10(2016), Table 1 and procedure A.

    Examples
    --------
    >>> low, high = index_limits(8.86)
    >>> round(low, 2), round(high, 2)
    (119.94, 69.48)
    """
    if not viscosity_100 >= LEAST_INDEX_VISCOSITY:
        raise ValidityError(
            "the viscosity index is not defined below 2 mm²/s at 100 °C (ASTM D2270)",
            parameter="viscosity_100",
            found=viscosity_100,
            allowed="2 mm²/s or more",
        )
    if viscosity_100 > MOST_TABLED:
        y = viscosity_100
        return 0.8353 * y * y + 14.67 * y - 216.0, 0.1684 * y * y + 11.85 * y - 97.0
    known, low, high = _index_table()
    right = max(bisect.bisect_left(known, viscosity_100), 1)
    part = (viscosity_100 - known[right - 1]) / (known[right] - known[right - 1])
    return (
        low[right - 1] + part * (low[right] - low[right - 1]),
        high[right - 1] + part * (high[right] - high[right - 1]),
    )


def viscosity_index(viscosity_40: float, viscosity_100: float) -> float:
    """Viscosity index, not rounded: how little the viscosity changes with temperature.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C, above `viscosity_100` [mm²/s].
    viscosity_100 : float
        Kinematic viscosity at 100 °C, at least 2 [mm²/s].

    Returns
    -------
    float
        Viscosity index; negative for oils that thin very fast, above 200 for many damper oils [-].

    Raises
    ------
    InputError
        If the viscosity does not fall from 40 to 100 °C.
    ValidityError
        Below 2 mm²/s at 100 °C, where the index is not defined.

    Notes
    -----
    Procedure A, below an index of 100: VI = 100 (L − U)/(L − H). Procedure B, from
    there: VI = (10^N − 1)/0.00715 + 100 with N = log(H/U)/log Y. U and Y are the
    viscosities at 40 and 100 °C. Nothing is capped.

    References
    ----------
    ASTM D2270-10(2016), procedures A and B; the same as ISO 2909.

    Examples
    --------
    >>> round(viscosity_index(73.3, 8.86), 2)
    92.43
    """
    check_viscosity(viscosity_40, "viscosity_40")
    low, high = index_limits(viscosity_100)
    check_order(viscosity_40, viscosity_100)
    if viscosity_40 > high:
        return 100.0 * (low - viscosity_40) / (low - high)
    exponent = math.log(high / viscosity_40) / math.log(viscosity_100)
    return (math.pow(10.0, exponent) - 1.0) / 0.00715 + 100.0


def viscosity_100_of_index(viscosity_40: float, index: float) -> float:
    """Viscosity at 100 °C of an oil of which the index is known instead.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C [mm²/s].
    index : float
        Viscosity index [-].

    Returns
    -------
    float
        Kinematic viscosity at 100 °C, at least 2 [mm²/s].

    Raises
    ------
    ValidityError
        If no viscosity from 2 mm²/s up to that at 40 °C has this index.

    References
    ----------
    ASTM D2270-10(2016), solved for the viscosity at 100 °C.

    Examples
    --------
    >>> round(viscosity_100_of_index(73.3, 92.43), 2)
    8.86
    """
    check_viscosity(viscosity_40, "viscosity_40")
    lowest, highest = 2.0, 0.999 * viscosity_40
    reached = [viscosity_index(viscosity_40, end) for end in (lowest, highest)] if highest > lowest else []
    if not reached or not reached[0] <= index <= reached[1]:
        raise ValidityError(
            "no viscosity at 100 °C belongs to this index",
            parameter="viscosity_index",
            found=index,
            allowed="a viscosity index that fits the viscosity at 40 °C, or viscosity 100 itself",
        )

    def excess(hot: Floats) -> Floats:
        return np.array([viscosity_index(viscosity_40, float(value)) - index for value in hot])

    return float(increasing_root(excess, np.array([lowest]), np.array([highest]))[0])


def whole_index(index: float) -> int:
    """Round a viscosity index to a whole number, as the standard asks.

    Parameters
    ----------
    index : float
        Viscosity index as calculated [-].

    Returns
    -------
    int
        Nearest whole number, ties to the even one [-].

    References
    ----------
    ASTM D2270-10(2016), rounding by ASTM E29.

    Examples
    --------
    >>> whole_index(116.5), whole_index(115.5)
    (116, 116)
    """
    return round(index)


def iso_class(viscosity_40: float) -> IsoClass:
    """Nearest ISO viscosity class, and whether the oil is within its band.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C, 1.98 to 3520 [mm²/s].

    Returns
    -------
    IsoClass
        The class; `inside` is False in the gaps between the bands.

    Raises
    ------
    ValidityError
        Below the first and above the last class.

    Notes
    -----
    Each band reaches 10 % to both sides of its middle, limits included. In a gap
    the class whose limit is nearer, as a ratio, is named.

    References
    ----------
    ISO 3448:1992, table 1; the same as ASTM D2422.

    Examples
    --------
    >>> iso_class(14.0).vg, iso_class(14.0).inside
    (15, True)
    >>> iso_class(16.6).vg, iso_class(16.6).inside
    (15, False)
    """
    bands = _bands("iso_3448", "vg")
    if not bands[0].low <= viscosity_40 <= bands[-1].high:
        raise ValidityError(
            "is outside the ISO viscosity classes (ISO 3448)",
            parameter="viscosity_40",
            found=viscosity_40,
            allowed=f"{bands[0].low:g} to {bands[-1].high:g} mm²/s",
        )
    near = min(bands, key=lambda band: max(band.low / viscosity_40, viscosity_40 / band.high))
    beyond = max(viscosity_40 - near.high, 0.0) - max(near.low - viscosity_40, 0.0)
    return IsoClass(int(near.name), near.low, near.high, beyond == 0.0, beyond)


def sae_grades(viscosity_100: float, standard: Literal["J300", "J306"]) -> tuple[Band, ...]:
    """All SAE grades whose band holds this viscosity at 100 °C.

    Parameters
    ----------
    viscosity_100 : float
        Kinematic viscosity at 100 °C, above 0 [mm²/s].
    standard : text
        ``J300`` for engine oils, ``J306`` for gear oils.

    Returns
    -------
    tuple of Band
        None, one or several: J300 grades overlap. Grades with a W are not among
        them, as they need tests in the cold.

    Raises
    ------
    ValidityError
        If the viscosity is not above 0.

    References
    ----------
    SAE J300 (grades of 2015/2021) and SAE J306 (February 2019), as on public charts.

    Examples
    --------
    >>> [band.name for band in sae_grades(7.0, "J300")]
    ['12', '16', '20']
    """
    if not 0.0 < viscosity_100 < math.inf:
        raise ValidityError(
            "must be above 0", parameter="viscosity_100", found=viscosity_100, allowed="above 0 mm²/s"
        )
    bands = _bands(f"sae_{standard.casefold()}", "grade")
    return tuple(
        band for band in bands if not band.name.endswith("W") and band.low <= viscosity_100 < band.high
    )


def agma_numbers(viscosity_40: float) -> tuple[str, ...]:
    """AGMA lubricant numbers of a gear oil.

    Parameters
    ----------
    viscosity_40 : float
        Kinematic viscosity at 40 °C, 1.98 to 3520 [mm²/s].

    Returns
    -------
    tuple of text
        The numbers whose ISO class holds the viscosity; empty if there is none [-].

    Raises
    ------
    ValidityError
        Outside the ISO classes.

    Notes
    -----
    For gear oils only, never for damper oil.

    References
    ----------
    AGMA lubricant numbers with their ISO VG equivalents, as listed publicly.

    Examples
    --------
    >>> agma_numbers(100.0)
    ('3',)
    """
    found = iso_class(viscosity_40)
    if not found.inside:
        return ()
    return tuple(row["number"] for row in read_table("agma") if int(row["vg"]) == found.vg)


def label_range(label: str) -> LabelRange:
    """What viscosity at 40 °C typically hides behind the "weight" on a bottle.

    Parameters
    ----------
    label : text
        Such as ``2.5``, ``5 wt``, ``SAE 10W``, ``7,5 weight`` [-].

    Returns
    -------
    LabelRange
        Low, middle and high [mm²/s].

    Raises
    ------
    InputError
        If the label is not one that is commonly met; nothing is interpolated.

    Notes
    -----
    Never calculate from a label without saying so: two bottles of the same weight
    can differ twofold.

    References
    ----------
    Common practice, from memory, no source.

    Examples
    --------
    >>> label_range("2.5 wt")
    LabelRange(low=7.0, middle=14.0, high=16.0)
    """
    table = {float(row["label"]): row for row in read_table("oil_labels")}
    match = _LABEL.fullmatch(label.strip())
    number = float(match[1].replace(",", ".")) if match else math.nan
    if number not in table:
        raise InputError(
            "is no common label of damper oil, and a weight is no standard: look at the data sheet",
            parameter="label",
            found=label,
            allowed=", ".join(f"{known:g}" for known in table),
        )
    row = table[number]
    return LabelRange(float(row["low"]), float(row["middle"]), float(row["high"]))


_LABEL = re.compile(
    r"(?:sae\s*)?([0-9]{1,2}(?:[.,][0-9])?)\s*-?\s*(?:w|wt|weight)?\.?", re.IGNORECASE | re.ASCII
)


@functools.cache
def _bands(table: str, key: str) -> tuple[Band, ...]:
    return tuple(Band(row[key], float(row["low"]), float(row["high"] or "inf")) for row in read_table(table))


@functools.cache
def _index_table() -> tuple[list[float], list[float], list[float]]:
    rows = read_table("viscosity_index")
    known, low, high = ([float(row[name]) for row in rows] for name in ("viscosity_100", "l", "h"))
    return known, low, high
