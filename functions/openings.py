"""Openings that change: the needle of an adjuster and the gap under a lifted shim.

Both are slits and obey the law of `dampcell.functions.flow`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dampcell.functions.errors import InputError
from dampcell.functions.flow import (
    DISCHARGE_SHARP,
    END_SLIT,
    FRICTION_SLIT,
    Floats,
    Opening,
    check_above,
    check_discharge,
    check_within,
    finite,
)

__all__ = ["Curtain", "Needle", "needle_area"]


@dataclass(frozen=True, slots=True)
class Needle(Opening):
    """A needle adjuster: a tapered needle that leaves a round, sharp seat click by click.

    Parameters
    ----------
    seat_diameter : float
        Diameter of the seat's bore [mm], > 0.
    taper_angle : float
        Full angle of the needle's cone [deg], above 0, below 180.
    travel_per_click : float
        Axial travel of one click [mm], > 0.
    clicks : float
        Number of clicks the adjuster has, closed to open [-], > 0.
    clicks_open : float
        Position from closed [-], 0 to clicks; parts of a click are allowed.
    travel_closed : float
        Axial opening that remains at the closed click [mm], ≥ 0.
    discharge_coefficient : float
        Turbulent limit of the discharge coefficient [-], 0.3 to 1.

    Raises
    ------
    InputError
        If a dimension is outside its range, or the adjuster has fewer clicks.

    Notes
    -----
    Area from `needle_area`; slit law 1/Cd(Re)² = (128/π)/Re + 1/Cd², with Re on twice
    the width of the slit. Fully closed without remaining travel it passes nothing.

    Examples
    --------
    >>> from dampcell.functions.flow import Fluid
    >>> dial = Needle(seat_diameter=3.0, taper_angle=20.0, travel_per_click=0.1, clicks=14, clicks_open=6)
    >>> round(float(dial.flow(1.0, Fluid(850.0, 15.0))), 2)
    8.38
    """

    seat_diameter: float
    taper_angle: float
    travel_per_click: float
    clicks: float
    clicks_open: float
    travel_closed: float = 0.0
    discharge_coefficient: float = DISCHARGE_SHARP

    def __post_init__(self) -> None:
        check_above("travel_per_click", self.travel_per_click, "mm")
        check_above("clicks", self.clicks, "")
        check_above("travel_closed", self.travel_closed, "mm", or_zero=True)
        check_discharge(self.discharge_coefficient)
        if not 0.0 <= self.clicks_open <= self.clicks:
            raise InputError(
                "the adjuster does not have that click",
                parameter="clicks_open",
                found=self.clicks_open,
                allowed=f"0 to {self.clicks:g} clicks from closed",
            )
        needle_area(self.seat_diameter, self.taper_angle, 0.0)

    def _shape(self) -> tuple[Floats, Floats, Floats, float]:
        travel = self.travel_closed + self.clicks_open * self.travel_per_click
        area, width = needle_area(self.seat_diameter, self.taper_angle, travel)
        return np.asarray(area), np.asarray(width), np.asarray(END_SLIT), self.discharge_coefficient**-2


def needle_area(seat_diameter: float, taper_angle: float, travel: float) -> tuple[float, float]:
    """Free area between a tapered needle and its seat.

    Parameters
    ----------
    seat_diameter : float
        Diameter of the seat's bore [mm], > 0.
    taper_angle : float
        Full angle of the needle's cone [deg], above 0, below 180.
    travel : float
        Axial travel from the position that closes [mm], ≥ 0.

    Returns
    -------
    tuple of float
        Area [mm2], never more than the bore's, and hydraulic diameter [mm].

    Raises
    ------
    InputError
        If a dimension is outside its range.

    Notes
    -----
    The shortest way from the seat's edge to the cone is s = h sin(α/2), square to the
    cone; it sweeps a frustum of area π s (d − s cos(α/2)). Hydraulic diameter 2 s.

    Examples
    --------
    >>> area, width = needle_area(3.0, 20.0, 0.6)
    >>> round(area, 4), round(width, 4)
    (0.9484, 0.2084)
    """
    check_above("seat_diameter", seat_diameter, "mm")
    check_above("travel", travel, "mm", or_zero=True)
    check_above("taper_angle", taper_angle, "deg")
    check_within("taper_angle", taper_angle, 0.0, 179.0, " deg")
    half = math.radians(0.5 * taper_angle)
    bore = 0.25 * math.pi * seat_diameter**2
    # The frustum grows up to s = d / (2 cos), where it is larger than the bore already.
    width = min(travel * math.sin(half), 0.5 * seat_diameter / math.cos(half))
    area = min(math.pi * width * (seat_diameter - width * math.cos(half)), bore)
    return area, min(2.0 * width, seat_diameter)


@dataclass(frozen=True, slots=True, eq=False)
class Curtain(Opening):
    """The ring-shaped gap under a lifted face shim.

    Parameters
    ----------
    diameter : float
        Diameter of the seat's edge over which the oil leaves [mm], > 0.
    lift : array_like
        Lift of the shim at that edge [mm], ≥ 0; an array goes with the flows element by element.
    land_width : float
        Width of the seat's land that the oil crosses in the gap [mm], ≥ 0.
    discharge_coefficient : float
        Turbulent limit of the discharge coefficient [-], 0.3 to 1.

    Raises
    ------
    InputError
        If a dimension is outside its range.

    Notes
    -----
    Area π d·lift. Slit law: 1/Cd(Re)² = (96 L/D + 128/π)/Re + 1/Cd², D = twice the
    lift; the first term is 12 μ L Q/(π d lift³) across the land. Lift 0 passes nothing.
    At a large lift the port throat decides: put it in `series` with the curtain.
    The tilt of the shim (lift larger at its edge than at the seat) is not in it.

    Examples
    --------
    >>> from dampcell.functions.flow import Fluid
    >>> shim_gap = Curtain(diameter=24.0, lift=0.1, land_width=1.0)
    >>> round(float(shim_gap.flow(5.0, Fluid(850.0, 15.0))), 1)
    112.3
    """

    diameter: float
    lift: float | Floats
    land_width: float = 0.0
    discharge_coefficient: float = DISCHARGE_SHARP

    def __post_init__(self) -> None:
        check_above("diameter", self.diameter, "mm")
        check_above("land_width", self.land_width, "mm", or_zero=True)
        check_discharge(self.discharge_coefficient)
        if np.any(finite("lift", self.lift, "mm") < 0.0):
            raise InputError("must not be negative", parameter="lift", allowed="0 mm or more")

    def _shape(self) -> tuple[Floats, Floats, Floats, float]:
        lift = np.asarray(self.lift, dtype=float)
        width = 2.0 * lift
        viscous = FRICTION_SLIT * self.land_width / np.where(lift > 0.0, width, np.inf) + END_SLIT
        return math.pi * self.diameter * lift, width, viscous, self.discharge_coefficient**-2
