"""Tightening torques in other units. What to tighten to stands in the maker's manual."""

from __future__ import annotations

from dampcell.functions.checks import check_positive
from dampcell.functions.units import convert

__all__ = ["convert_torque"]


def convert_torque(value: float, from_unit: str, to_unit: str) -> float:
    """Convert a torque from one unit to another.

    Parameters
    ----------
    value : float
        Torque in `from_unit`, above 0 [-].
    from_unit, to_unit : text
        N·m, N·cm, in-lb, ft-lb, kgf·cm or kgf·m, as usually spelt [-].

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
    >>> round(convert_torque(5.0, "N·m", "in-lb"), 2)
    44.25
    """
    check_positive("value", value, from_unit)
    # Through N·m, so that two lengths or two forces are refused as no torques.
    return convert(convert(value, from_unit, "N*m"), "N*m", to_unit)
