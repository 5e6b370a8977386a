"""A valve build's hydraulic side: piston faces, bleed, adjuster, and what displaces the oil."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from typing import TypeVar

from dampcell.functions.errors import InputError
from dampcell.functions.flow import Floats, Fluid, Hole, Opening, Orifice, check_above, check_within
from dampcell.functions.oils import density, kinematic_viscosity
from dampcell.functions.openings import Curtain, Needle

__all__ = ["ATMOSPHERE", "Face", "Oil", "Valve", "valve_from_pairs"]

ATMOSPHERE = 1.01325
"""Standard atmosphere [bar]; ISO 2533."""

Pairs = Mapping[str, float | str | None]

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Oil:
    """An oil by its data sheet.

    Parameters
    ----------
    viscosity_40, viscosity_100 : float
        Kinematic viscosity at 40 and 100 °C [mm2/s].
    density_15 : float
        Density at 15 °C [kg/m3].
    """

    viscosity_40: float
    viscosity_100: float
    density_15: float

    def at(self, temperature: float) -> Fluid:
        """Return the fluid at a temperature [°C]; errors as for `oils.kinematic_viscosity`."""
        return Fluid(
            density(self.density_15, temperature),
            kinematic_viscosity(self.viscosity_40, self.viscosity_100, temperature),
        )


@dataclass(frozen=True, slots=True)
class Face:
    """One face of the piston: ports, window and seat.

    Parameters
    ----------
    window_inner_diameter, window_outer_diameter : float
        Ring of the face shim on which the oil presses through the ports [mm].
    open_fraction : float
        Open part of that ring [-], above 0, up to 1.
    seat_diameter : float
        Circle on which the face shim seats [mm], from the window outwards.
    seat_height : float
        Height of the seat over the hub (dish) [mm], 0 to 5.
    throat_area : float
        Narrowest area of all ports together [mm2], > 0.
    throat_length : float
        Length of that narrowest part [mm], ≥ 0.
    ports : float
        Number of ports [-], 1 or more.

    Raises
    ------
    InputError
        If a dimension is out of range or the diameters are out of order.
    """

    window_inner_diameter: float
    window_outer_diameter: float
    open_fraction: float
    seat_diameter: float
    seat_height: float
    throat_area: float
    throat_length: float
    ports: float

    def __post_init__(self) -> None:
        if not 0.0 < self.window_inner_diameter < self.window_outer_diameter <= self.seat_diameter:
            raise InputError(
                "the port window must lie within the seat",
                parameter="window inner diameter, window outer diameter, seat diameter",
                found=(
                    f"{self.window_inner_diameter:g}, {self.window_outer_diameter:g}, {self.seat_diameter:g}"
                ),
                allowed="rising, in mm",
            )
        check_within("open fraction", self.open_fraction, 1e-3, 1.0, "")
        check_within("seat height", self.seat_height, 0.0, 5.0, " mm")
        check_above("throat area", self.throat_area, "mm2")
        check_above("throat length", self.throat_length, "mm", or_zero=True)
        check_within("ports", self.ports, 1.0, 100.0, "")

    @property
    def window(self) -> tuple[float, float]:
        """Diameters of the port window [mm]."""
        return self.window_inner_diameter, self.window_outer_diameter

    @property
    def closed_area(self) -> float:
        """Area of the face shim under pressure while it is seated [mm2]."""
        return self.open_fraction * _ring(*self.window)

    @property
    def open_area(self) -> float:
        """Area under pressure once the oil has spread [mm2]: the whole window, and half of the land."""
        return _ring(*self.window) + 0.5 * _ring(self.window_outer_diameter, self.seat_diameter)

    @property
    def throat(self) -> Hole:
        """The ports as a flow path."""
        one = self.throat_area / self.ports
        return Hole(math.sqrt(4.0 * one / math.pi), self.throat_length, self.ports)


@dataclass(frozen=True, slots=True)
class Valve:
    """All of a valve build but its stack and oil.

    Parameters
    ----------
    face : Face
        The face that meets the stack.
    displaced_diameter : float
        Diameter of the shaft or piston that displaces the oil [mm], > 0.
    rod_diameter : float
        Rod that takes part of that area away [mm], 0 for a base valve.
    bleed_diameter, bleed_length : float
        Fixed bleed hole [mm], diameter 0 for none.
    needle_seat_diameter, needle_taper_angle, needle_travel_per_click, needle_clicks, needle_travel_closed
        The adjuster, see `openings.Needle`; seat diameter 0 for none.
    leak_diameter : float
        Orifice that passes what seats and seals pass together [mm], > 0: no valve closes wholly.
    wetting_lift : float
        Lift at which half of the further area under the face shim is under pressure [mm], > 0.
    discharge_coefficient : float
        Turbulent limit for the shim gap and the needle [-].
    reservoir_pressure : float
        Gauge pressure of the reservoir behind the valve [bar], ≥ 0.

    Raises
    ------
    InputError
        If a dimension is out of range.
    """

    face: Face
    displaced_diameter: float
    rod_diameter: float = 0.0
    bleed_diameter: float = 0.0
    bleed_length: float = 1.0
    needle_seat_diameter: float = 0.0
    needle_taper_angle: float = 20.0
    needle_travel_per_click: float = 0.1
    needle_clicks: float = 20.0
    needle_travel_closed: float = 0.0
    leak_diameter: float = 0.2
    wetting_lift: float = 0.05
    discharge_coefficient: float = 0.611
    reservoir_pressure: float = 0.0

    def __post_init__(self) -> None:
        check_above("displaced diameter", self.displaced_diameter, "mm")
        if not 0.0 <= self.rod_diameter < self.displaced_diameter:
            raise InputError(
                "must be smaller than what displaces the oil",
                parameter="rod diameter",
                found=self.rod_diameter,
                allowed=f"0 to below {self.displaced_diameter:g} mm",
            )
        check_above("bleed diameter", self.bleed_diameter, "mm", or_zero=True)
        check_above("bleed length", self.bleed_length, "mm", or_zero=True)
        check_above("needle seat diameter", self.needle_seat_diameter, "mm", or_zero=True)
        check_within("needle taper angle", self.needle_taper_angle, 1.0, 179.0, " deg")
        check_above("needle travel per click", self.needle_travel_per_click, "mm")
        check_above("needle clicks", self.needle_clicks, "")
        check_above("needle travel closed", self.needle_travel_closed, "mm", or_zero=True)
        check_within("discharge coefficient", self.discharge_coefficient, 0.3, 1.0, "")
        check_above("leak diameter", self.leak_diameter, "mm")
        check_above("wetting lift", self.wetting_lift, "mm")
        check_above("reservoir pressure", self.reservoir_pressure, "bar", or_zero=True)

    @property
    def displaced_area(self) -> float:
        """Area that displaces the oil [mm2]; 1 m/s displaces as many ml/s."""
        return _ring(self.rod_diameter, self.displaced_diameter)

    def gap(self, lift: Floats) -> Curtain:
        """The gap under the face shim as a flow path, at lifts off the seat [mm]."""
        land = 0.5 * (self.face.seat_diameter - self.face.window_outer_diameter)
        return Curtain(self.face.seat_diameter, lift, land, self.discharge_coefficient)

    def pressed_area(self, lift: Floats) -> Floats:
        """Area of the face shim under pressure [mm2], at lifts off the seat [mm]."""
        wetted = lift / (lift + self.wetting_lift)
        result: Floats = self.face.closed_area + (self.face.open_area - self.face.closed_area) * wetted
        return result

    def side_paths(self, clicks_open: float) -> dict[str, Opening]:
        """Paths beside the shims, by name.

        Parameters
        ----------
        clicks_open : float
            Position of the adjuster from closed [-].

        Returns
        -------
        dict
            leak always, bleed and needle where there are any.

        Raises
        ------
        InputError
            If there are more clicks open than the adjuster has.
        """
        paths: dict[str, Opening] = {}
        if self.bleed_diameter > 0.0:
            paths["bleed"] = Hole(self.bleed_diameter, self.bleed_length)
        if self.needle_seat_diameter > 0.0:
            paths["needle"] = Needle(
                self.needle_seat_diameter,
                self.needle_taper_angle,
                self.needle_travel_per_click,
                self.needle_clicks,
                clicks_open,
                self.needle_travel_closed,
                self.discharge_coefficient,
            )
        elif clicks_open > 0.0:
            raise InputError(
                "this valve has no adjuster", parameter="clicks_open", found=clicks_open, allowed="0"
            )
        paths["leak"] = Orifice(self.leak_diameter)
        return paths


def valve_from_pairs(pairs: Pairs) -> Valve:
    """Build a valve from name/value pairs.

    Parameters
    ----------
    pairs : mapping
        Names as in the cell functions' valve table; the names of a face start with its
        letter, and ``face`` says which of the two meets the stack.

    Returns
    -------
    Valve

    Raises
    ------
    InputError
        If the chosen face lacks a value, or a value is out of range.
    """
    letter = str(pairs["face"])
    values: dict[str, float] = {}
    for name in (field.name for field in fields(Face)):
        value = pairs[f"{letter}_{name}"]
        if value is None:
            raise InputError(
                f"is missing, and face {letter} meets the stack",
                parameter=f"valve, {letter} {name.replace('_', ' ')}",
                allowed="a number",
            )
        values[name] = float(value)
    rest = {
        name: float(value)
        for name, value in pairs.items()
        if value is not None and name != "face" and not name.startswith(("a_", "b_"))
    }
    face = _at(f"valve, face {letter}", lambda: Face(**values))
    return _at("valve", lambda: Valve(face, **rest))


def _at(place: str, build: Callable[[], T]) -> T:
    """Build a part; an error in it names the place where its value stands."""
    try:
        return build()
    except InputError as error:
        raise InputError(
            error.problem, parameter=f"{place}, {error.parameter}", found=error.found, allowed=error.allowed
        ) from None


def _ring(inner: float, outer: float) -> float:
    return 0.25 * math.pi * (outer**2 - inner**2)
