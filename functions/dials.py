"""Adjuster dials: clicks from closed and from open, and whether the dial reads true.

Closed is the adjuster turned fully in (clockwise) until it stops gently, open is
turned fully out. A dial reads true when its mark stands at its printed closed end
with the adjuster fully in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from dampcell.functions.checks import check_not_negative, check_positive
from dampcell.functions.errors import InputError

__all__ = ["DialPosition", "dial_position"]

TRUE_WITHIN: Final = 0.5  # clicks: nearer than half a click no mark can be set


@dataclass(frozen=True, slots=True)
class DialPosition:
    """Where an adjuster stands, in clicks, and what was found about its dial."""

    from_closed: float
    """Clicks out from fully closed."""
    from_open: float
    """Clicks in from fully open."""
    dial_shows: float
    """What the dial shows, in clicks from its printed closed end."""
    findings: tuple[str, ...]
    """What to know about the dial, one sentence each."""


def dial_position(
    clicks: float,
    total_clicks: float,
    counted_from: Literal["closed", "open"],
    *,
    dial_offset: float = 0.0,
    printed_clicks: float | None = None,
) -> DialPosition:
    """Position of an adjuster from both ends, and whether its dial reads true.

    Parameters
    ----------
    clicks : float
        Clicks counted, 0 to `total_clicks` [-].
    total_clicks : float
        Clicks counted from fully closed to fully open, above 0 [-].
    counted_from : {"closed", "open"}
        The end at which counting began [-].
    dial_offset : float
        With the adjuster fully in: clicks by which the dial's mark stands towards open from
        its printed closed end; negative if it went past the end; within `total_clicks` [-].
    printed_clicks : float, optional
        Clicks in all as the maker states them, above 0 [-].

    Returns
    -------
    DialPosition
        Clicks from closed, from open, what the dial shows, and findings.

    Raises
    ------
    InputError
        If more clicks are counted than there are, or a number is out of range.

    Notes
    -----
    from open = total − from closed; the dial shows from closed + offset. It reads true
    if the offset is less than half a click.

    References
    ----------
    Counting.

    Examples
    --------
    >>> dial_position(6.0, 18.0, "open").from_closed
    12.0
    """
    check_positive("total_clicks", total_clicks, "clicks")
    check_not_negative("clicks", clicks, "clicks")
    if clicks > total_clicks:
        raise InputError(
            "more clicks than the adjuster has",
            parameter="clicks",
            found=clicks,
            allowed=f"0 to {total_clicks:g}",
        )
    if abs(dial_offset) > total_clicks:
        raise InputError(
            "is more than the adjuster has clicks",
            parameter="dial_offset",
            found=dial_offset,
            allowed=f"{-total_clicks:g} to {total_clicks:g}",
        )
    from_closed = clicks if counted_from == "closed" else total_clicks - clicks
    findings = [_dial_finding(dial_offset)]
    if printed_clicks is not None:
        check_positive("printed_clicks", printed_clicks, "clicks")
        findings.append(_range_finding(total_clicks, printed_clicks))
    return DialPosition(
        from_closed=from_closed,
        from_open=total_clicks - from_closed,
        dial_shows=from_closed + dial_offset,
        findings=tuple(findings),
    )


def _dial_finding(offset: float) -> str:
    if abs(offset) < TRUE_WITHIN:
        return (
            "the dial reads true, if its mark stands at its printed closed end with the adjuster turned "
            "fully in"
        )
    side = "too far open" if offset > 0 else "too far closed"
    return (
        f"the dial does not read true: it shows {_count(abs(offset))} {side}; set it on its shaft so that "
        "its mark stands at the printed closed end with the adjuster turned fully in, or count clicks"
    )


def _range_finding(total: float, printed: float) -> str:
    if abs(total - printed) < TRUE_WITHIN:
        return f"the adjuster has all of its {_count(printed)}"
    if total < printed:
        return (
            f"only {_count(total)} of {printed:g}: the adjuster does not reach one of its ends "
            "(dirt, a bent needle, or the knob set wrongly on its shaft)"
        )
    return f"{_count(total)} instead of {printed:g}: count again, gently against both stops"


def _count(clicks: float) -> str:
    return f"{clicks:g} click" + ("" if clicks == 1 else "s")
