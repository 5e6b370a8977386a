"""Cell functions that find a stack in a drawer, and that read a stack written in one cell."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated

from dampcell.functions.cells.builds import OilPairs, ValvePairs, build_model
from dampcell.functions.cells.stacks import StackRows
from dampcell.functions.errors import InputError
from dampcell.functions.matching import Kind, Wish, match_stacks
from dampcell.functions.registry import Table, cell_function
from dampcell.functions.stacks import Stack, stack_from_rows
from dampcell.functions.tables import Column, RowLayout

__all__ = ["DRAWER", "WISH", "stack_match", "stack_read", "stack_text"]

Row = Mapping[str, float | str | None]

DRAWER = RowLayout(
    (
        Column("outer_diameter", "mm", meaning="outer diameter"),
        Column("thickness", "mm", meaning="thickness"),
        Column("count", "-", zero_is_blank=False, meaning="number on hand; 0 is none left"),
    )
)
"""The shims on hand."""

WISH = RowLayout(
    (
        Column("velocity", "m/s", meaning="shaft velocity"),
        Column("change", "%", required=False, zero_is_blank=False, meaning="wanted change of force"),
        Column("force", "N", required=False, meaning="wanted force, instead of a change"),
    )
)
"""What is wanted, one row for each velocity."""

DrawerRows = Annotated[list[Row], DRAWER]
WishRows = Annotated[list[Row], WISH]

_PIECE = re.compile(r"(\d+)\s*[×x]\s*(\d+(?:\.\d+)?)\s*[×x]\s*(\d+(?:\.\d+)?)")
_CLAMP = re.compile(r"clamp\s+(\d+(?:\.\d+)?)")


@cell_function(
    family="Damping",
    result="matches",
    columns=(("rank", "-"), ("stack", ""), ("error", "%"), ("stress ratio", "-"), ("change", "%")),
)
def stack_match(
    drawer: DrawerRows,
    stack: StackRows,
    valve: ValvePairs,
    oil: OilPairs,
    temperature: float,
    clicks_open: float,
    wish: WishRows,
    most_shims: float = 14,
) -> Table:
    """Stacks from the drawer that come nearest to a wanted change of damping, best five.

    Parameters
    ----------
    drawer : table
        Shims on hand: outer diameter [mm], thickness [mm], count, 0 for none left [-].
    stack : table
        Stack to start from, as for STACK_LIFT; its clamp and the size of its face shim are kept [-].
    valve : table
        Names and values, as for DAMPING_FORCE [-].
    oil : table
        Names and values, or three numbers in a row, as for DAMPING_FORCE [-].
    temperature : float
        Oil temperature, −60 to 200; write 0 °C as the text "0 °C" [°C].
    clicks_open : float
        Adjuster position counted from fully closed [-].
    wish : table
        One row per velocity [m/s]: wanted change of force [%] against the given stack, or in the
        third column a wanted force [N].
    most_shims : float
        Largest number of shims, 1 to 30 [-].

    Returns
    -------
    table
        One row per stack, best first: rank [-], the stack in words for STACK_READ, root mean
        square error of the force [%], largest stress over a typical endurance limit at the fastest
        wish [-], and the change of force at each velocity of the wish [%].

    Raises
    ------
    InputError
        Naming the row that has to be mended, or if no shim of the drawer covers the seat.
    ValidityError
        If no stack gives the wanted force, because bleed or ports alone decide.
    NoSolutionError
        If no stack can be built from the drawer.

    Notes
    -----
    Plain tapers only: diameters fall towards the clamp in steps of at most half the face shim's
    overhang, counts are kept, no rings and no spacers. A search without chance: a stand-in for
    the stiffness is corrected by the stack model, the finalists are computed in full. For one
    velocity the best is as near as that of all possible stacks; with several the search steers by
    the one with the largest load and ranks by all, so a better compromise may exist.

    References
    ----------
    Own method, see the module matching; the damping model is that of DAMPING_FORCE.

    Examples
    --------
    >>> found = stack_match(
    ...     [[30, 0.2, 4], [26, 0.2, 4], [24, 0.15, 2], [20, 0.2, 2], [16, 0.15, 2]],
    ...     [["shim", 30, 0.2, 2], ["shim", 26, 0.2, 2], ["shim", 20, 0.2, 2], ["clamp", 12, 0.3, 1]],
    ...     [["face", "a"], ["a window inner diameter", 18], ["a window outer diameter", 25],
    ...      ["a open fraction", 0.6], ["a seat diameter", 26], ["a throat area", 60],
    ...      ["displaced diameter", 29], ["rod diameter", 12], ["bleed diameter", 1.0]],
    ...     [["viscosity 40", 14], ["viscosity 100", 3.8], ["density 15", 860]],
    ...     30,
    ...     0,
    ...     [[2.0, -15]],
    ... )
    >>> len(found), found[0][0], abs(found[0][4] + 15) < 2
    (5, 1, True)
    """
    if most_shims != int(most_shims):
        raise InputError(
            "must be a whole number", parameter="most_shims", found=most_shims, allowed="1 to 30"
        )
    given = stack_from_rows(stack)
    model, fluid = build_model(stack, valve, oil, temperature, clicks_open)
    speeds = [_number(row, "velocity") for row in wish]
    base = model.curve(speeds, fluid).force.tolist()
    wishes = [_wish(row, force) for row, force in zip(wish, base, strict=True)]
    found = match_stacks(
        [_kind(row) for row in drawer],
        model,
        fluid,
        stack=given,
        wishes=wishes,
        most_shims=int(most_shims),
    )
    return [
        [
            rank,
            stack_text(match.stack),
            100.0 * match.error,
            match.stress_ratio,
            *(100.0 * (force / before - 1.0) for force, before in zip(match.forces, base, strict=True)),
        ]
        for rank, match in enumerate(found, start=1)
    ]


@cell_function(
    family="Damping",
    result="stack",
    columns=(("part", ""), ("outer diameter", "mm"), ("thickness", "mm"), ("quantity", "-")),
)
def stack_read(text: str) -> Table:
    """Rows of a stack that is written in one cell, as STACK_MATCH writes it.

    Parameters
    ----------
    text : text
        Such as "2×30×0.2, 1×24×0.15, clamp 12": pieces, outer diameter [mm], thickness [mm].

    Returns
    -------
    table
        Part, outer diameter [mm], thickness [mm], quantity [-]; ready for every stack function.

    Raises
    ------
    InputError
        If the text is not of that form.

    Notes
    -----
    Shims only, from the face to the clamp; an "x" does as well as "×".

    References
    ----------
    Own notation, after the workshop habit of writing pieces by diameter by thickness (common
    practice, no source).

    Examples
    --------
    >>> stack_read("2×30×0.2, clamp 12")
    [['shim', 30.0, 0.2, 2], ['clamp', 12.0, '', 1]]
    """
    *pieces, last = [part.strip() for part in text.split(",")]
    shims = [_PIECE.fullmatch(piece) for piece in pieces]
    clamp = _CLAMP.fullmatch(last)
    if clamp is None or not shims or not all(shims):
        raise InputError(
            "is no stack in words",
            parameter="text",
            found=text,
            allowed='such as "2×30×0.2, 1×24×0.15, clamp 12"',
        )
    rows: Table = [["shim", float(s[2]), float(s[3]), int(s[1])] for s in shims if s is not None]
    return [*rows, ["clamp", float(clamp[1]), "", 1]]


def stack_text(stack: Stack) -> str:
    """Write a stack of shims in one line, as `stack_read` reads it."""
    pieces = [f"{part.quantity}×{part.outer_diameter:g}×{part.thickness:g}" for part in stack.parts]
    return ", ".join([*pieces, f"clamp {stack.clamp_diameter:g}"])


def _number(row: Row, name: str) -> float:
    value = row[name]
    assert isinstance(value, float)
    return value


def _kind(row: Row) -> Kind:
    count = _number(row, "count")
    if count != int(count) or count < 0:
        raise InputError(
            "must be a whole number",
            parameter=f"drawer row {row['row']:.0f}, count",
            found=count,
            allowed="0 or more",
        )
    return Kind(_number(row, "outer_diameter"), _number(row, "thickness"), int(count))


def _wish(row: Row, before: float) -> Wish:
    place = f"wish row {row['row']:.0f}"
    change, force = row["change"], row["force"]
    if (change is None) == (force is None):
        raise InputError("needs a change or a force, and not both", parameter=place)
    wanted = before * (1.0 + float(change) / 100.0) if change is not None else float(force or 0.0)
    if not wanted > 0.0:
        raise InputError("wants no force at all", parameter=place, allowed="a change above −100 %")
    return Wish(_number(row, "velocity"), wanted)
