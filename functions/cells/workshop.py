"""Cell functions of the workshop: torques, dials, and why a cell shows an error."""

from __future__ import annotations

from typing import Literal

from dampcell.functions import dials, torques
from dampcell.functions.registry import Raw, cell_function, evaluate

__all__ = ["dial_clicks", "torque_convert", "why"]


@cell_function(family="Workshop", result="torque in the wanted unit")
def torque_convert(value: float, from_unit: str, to_unit: str) -> float:
    """Convert a tightening torque to another unit.

    The torque itself is in the maker's manual, which comes first. Cap threads of
    cartridges are snugged to about 5 N·m (common practice, no source).

    Parameters
    ----------
    value : float
        Torque as a plain number in `from_unit`, above 0 [-].
    from_unit : str
        N·m, N·cm, in-lb, ft-lb, kgf·cm or kgf·m, in any case [-].
    to_unit : str
        One of the same [-].

    Returns
    -------
    float
        Torque in `to_unit` [-].

    Raises
    ------
    InputError
        For an unknown unit, one that is none of torque, or a value that is not above 0.

    Notes
    -----
    Exact factors: 1 in = 25.4 mm, 1 lbf = 4.4482216152605 N, 1 kgf = 9.80665 N.

    References
    ----------
    NIST Special Publication 811, appendix B.

    Examples
    --------
    >>> round(torque_convert(5.0, "N·m", "in-lb"), 2)
    44.25
    """
    return torques.convert_torque(value, from_unit, to_unit)


@cell_function(
    family="Workshop",
    result="position of an adjuster",
    columns=(("from_closed", "-"), ("from_open", "-"), ("dial_shows", "-"), ("findings", "-")),
)
def dial_clicks(
    clicks: float,
    total_clicks: float,
    counted_from: Literal["closed", "open"] = "closed",
    dial_offset: float = 0.0,
    printed_clicks: float | None = None,
) -> list[list[object]]:
    """Position of an adjuster from closed and from open, and whether its dial reads true.

    Turn an adjuster to its stops gently: a needle forced into its seat is damaged.

    Parameters
    ----------
    clicks : float
        Clicks counted, 0 to all there are [-].
    total_clicks : float
        Clicks counted from fully closed to fully open, above 0 [-].
    counted_from : {"closed", "open"}, optional
        The end at which counting began: "closed" is turned fully in (clockwise) [-].
    dial_offset : float, optional
        With the adjuster turned fully in: clicks by which the dial's mark stands towards open
        from its printed closed end; negative if past the end; within the clicks in all [-].
    printed_clicks : float, optional
        Clicks in all as the maker states them, above 0 [-].

    Returns
    -------
    table
        One row: clicks from closed; clicks from open; what the dial shows, in clicks from its
        printed closed end; findings in words [-].

    Raises
    ------
    InputError
        If more clicks are counted than there are, or a number is out of range.

    Notes
    -----
    A dial reads true when its mark stands at its printed closed end with the adjuster turned
    fully in; less than half a click beside it counts as true.

    References
    ----------
    Counting; closed means turned fully in: common practice, no source.

    Examples
    --------
    >>> dial_clicks(6.0, 18.0, "open", 2.0)[0][:3]
    [12.0, 6.0, 14.0]
    """
    found = dials.dial_position(
        clicks, total_clicks, counted_from, dial_offset=dial_offset, printed_clicks=printed_clicks
    )
    return [[found.from_closed, found.from_open, found.dial_shows, "; ".join(found.findings)]]


@cell_function(family="Workshop", result="sentence")
def why(function: str, *arguments: Raw) -> str:
    """Say why a cell shows an error: the sentence that the same call of a function gives.

    Parameters
    ----------
    function : str
        Name of the function, such as "PLATE_STIFFNESS" [-].
    arguments : any
        The same arguments as in the call that failed, as many as it has [-].

    Returns
    -------
    str
        The sentence of the error; or the notes that belong to the result; or OK [-].

    Raises
    ------
    InputError
        If there is no function of that name.

    Notes
    -----
    In a range with several errors, the first is told.

    References
    ----------
    None: it calculates nothing of its own.

    Examples
    --------
    >>> why("RESERVE_MARGIN", 10.0, 12.0, 100.0)
    'the reserve is too small by 1.31 ml, so the rod would stop hard: do not ride it'
    """
    outcome = evaluate(function, arguments)
    error = outcome.first_error()
    if error is None:
        return "; ".join(outcome.notes) or "OK"
    return error.message or f"an argument holds the error {error.code}; mend the cell that it comes from."
