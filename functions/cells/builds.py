"""Tables of a valve build, and the models that damping cell functions share."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Annotated

from dampcell.functions.damping import DampingModel, LiftTable
from dampcell.functions.errors import InputError
from dampcell.functions.flow import Fluid
from dampcell.functions.grades import viscosity_100_of_index
from dampcell.functions.stacks import Stack, stack_from_rows
from dampcell.functions.tables import Column, PairLayout
from dampcell.functions.valves import Face, Oil, Valve, valve_from_pairs

__all__ = ["OIL", "PATHS", "VALVE", "OilPairs", "ValvePairs", "build_model", "lift_table", "oil_from_pairs"]

PATHS = ("shims", "bleed", "needle", "leak")
"""The paths of the oil, in the order of DAMPING_SHARE."""

Pairs = Mapping[str, float | str | None]


def _face(letter: str) -> tuple[Column, ...]:
    meant = f"face {letter}: "
    return (
        Column(f"{letter}_window_inner_diameter", "mm", required=False, meaning=meant + "port window, inner"),
        Column(f"{letter}_window_outer_diameter", "mm", required=False, meaning=meant + "port window, outer"),
        Column(
            f"{letter}_open_fraction",
            "-",
            required=False,
            default=1.0,
            meaning=meant + "open part of the window",
        ),
        Column(f"{letter}_seat_diameter", "mm", required=False, meaning=meant + "circle of the seat"),
        Column(
            f"{letter}_seat_height",
            "mm",
            required=False,
            default=0.0,
            meaning=meant + "height over the hub, 0 to 5",
        ),
        Column(
            f"{letter}_throat_area",
            "mm²",
            required=False,
            meaning=meant + "narrowest area of all ports together",
        ),
        Column(
            f"{letter}_throat_length",
            "mm",
            required=False,
            default=5.0,
            meaning=meant + "length of that part",
        ),
        Column(
            f"{letter}_ports", "-", required=False, default=4.0, meaning=meant + "number of ports, 1 to 100"
        ),
    )


VALVE = PairLayout(
    (
        Column("face", choices=("a", "b"), required=False, default="a", meaning="face that meets the stack"),
        *_face("a"),
        *_face("b"),
        Column("displaced_diameter", "mm", meaning="shaft or piston that displaces the oil"),
        Column(
            "rod_diameter", "mm", required=False, default=0.0, meaning="rod through a piston valve, else 0"
        ),
        Column("bleed_diameter", "mm", required=False, default=0.0, meaning="fixed bleed hole, 0 for none"),
        Column("bleed_length", "mm", required=False, default=1.0, meaning="length of the bleed hole"),
        Column("needle_seat_diameter", "mm", required=False, default=0.0, meaning="adjuster, 0 for none"),
        Column("needle_taper_angle", "deg", required=False, default=20.0, meaning="full angle of its cone"),
        Column(
            "needle_travel_per_click", "mm", required=False, default=0.1, meaning="axial travel of a click"
        ),
        Column("needle_clicks", "-", required=False, default=20.0, meaning="clicks from closed to open"),
        Column("needle_travel_closed", "mm", required=False, default=0.0, meaning="opening left when closed"),
        Column("leak_diameter", "mm", required=False, default=0.2, meaning="orifice equal to all leaks"),
        Column(
            "wetting_lift",
            "mm",
            required=False,
            default=0.05,
            meaning="lift that lets the pressure spread halfway under the shim",
        ),
        Column(
            "discharge_coefficient",
            "-",
            required=False,
            default=0.611,
            meaning="of shim gap and needle, 0.3 to 1",
        ),
        Column(
            "reservoir_pressure",
            "bar",
            required=False,
            default=0.0,
            meaning="gauge pressure of the reservoir",
        ),
    )
)
"""A valve as names and values."""

OIL = PairLayout(
    (
        Column("viscosity_40", "mm²/s", meaning="kinematic viscosity at 40 °C"),
        Column("viscosity_100", "mm²/s", required=False, meaning="kinematic viscosity at 100 °C"),
        Column(
            "viscosity_index", "-", required=False, meaning="viscosity index, if that at 100 °C is not known"
        ),
        Column("density_15", "kg/m³", meaning="density at 15 °C"),
    ),
    as_row=("viscosity_40", "viscosity_100", "density_15"),
)
"""An oil as names and values, or as one row of numbers."""

ValvePairs = Annotated[Pairs, VALVE]
OilPairs = Annotated[Pairs, OIL]


def oil_from_pairs(pairs: Pairs) -> Oil:
    """Build an oil from its parsed table.

    Parameters
    ----------
    pairs : mapping
        Names as in `OIL`.

    Returns
    -------
    Oil

    Raises
    ------
    InputError
        If neither the viscosity at 100 °C nor the index is given.
    ValidityError
        If no viscosity at 100 °C has that index.
    """
    thin, hot, index = (pairs[name] for name in ("viscosity_40", "viscosity_100", "viscosity_index"))
    density = pairs["density_15"]
    assert isinstance(thin, float)
    assert isinstance(density, float)
    if hot is None:
        if index is None:
            raise InputError(
                "viscosity 100 is missing",
                parameter="oil",
                allowed="viscosity 100 [mm²/s] or viscosity index",
            )
        hot = viscosity_100_of_index(thin, float(index))
    return Oil(thin, float(hot), density)


def build_model(
    stack: list[Mapping[str, float | str | None]],
    valve: Pairs,
    oil: Pairs,
    temperature: float,
    clicks_open: float,
) -> tuple[DampingModel, Fluid]:
    """Put the arguments that all damping functions share into a model and its fluid."""
    hydraulics = valve_from_pairs(valve)
    fluid = oil_from_pairs(oil).at(temperature)
    return _model(stack_from_rows(stack), hydraulics, clicks_open), fluid


@functools.lru_cache(maxsize=96)
def _model(stack: Stack, valve: Valve, clicks_open: float) -> DampingModel:
    """Model of a build; what it keeps from one call to the next changes no result."""
    return DampingModel(lift_table(stack, valve.face), valve, clicks_open)


@functools.lru_cache(maxsize=96)
def lift_table(stack: Stack, face: Face) -> LiftTable:
    """Lift table of a stack on a face; cells of one sheet mostly ask for the same few.

    A table does not depend on what was asked of it before, so remembering it changes no result.
    """
    return LiftTable(stack, face)
