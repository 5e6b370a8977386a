"""Plots as plain geometry: axes with round ticks, lines, and labels that stand at their lines.

The page layout (templates/report.typ) only strokes what is computed here, in
fractions of the plot's width and height. Lines differ by dash and weight
before they differ by colour, so that a copy in black and white still reads.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from dampcell.functions.errors import InputError

__all__ = ["Axis", "Band", "Guide", "Plot", "Series", "round_ticks", "shown_number", "spread"]

STYLES = 6
"""Number of line styles that the page layout knows; a plot of more lines repeats them."""

LABEL_LENGTH = 36
"""Most letters of a label beside a line; more would not fit into two lines."""

LABEL_LINE = 24
"""Letters of a label from which on it may take a second line."""

_ROUND_STEPS = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: what it shows, its range and its ticks.

    Parameters
    ----------
    title : text
        Quantity in words, such as ``lift at the seat``.
    unit : text
        Unit, shown in brackets; ``-`` shows none.
    low, high : float
        Ends of the axis, in that unit.
    ticks : tuple of float
        Where numbers stand, in that unit.
    """

    title: str
    unit: str
    low: float
    high: float
    ticks: tuple[float, ...]

    @classmethod
    def over(
        cls, title: str, unit: str, values: Sequence[float], *, to_tick: bool = True, count: int = 5
    ) -> Axis:
        """Choose a range from zero, or from below it, and ticks that hold all values.

        Parameters
        ----------
        title : text
            Quantity in words.
        unit : text
            Unit of the values.
        values : sequence of float
            All that has to be inside.
        to_tick : bool
            Whether the axis goes on to the next tick beyond the largest value;
            if not, it ends with the largest value, as suits the x of a curve.
        count : int
            About how many steps between ticks.

        Returns
        -------
        Axis

        Raises
        ------
        InputError
            If there is no value, or one is no finite number.
        """
        if not values or not all(math.isfinite(value) for value in values):
            raise InputError("has no finite values to draw", parameter=title)
        low, high = min(0.0, *values), max(0.0, *values)
        if high <= low:
            high = low + 1.0
        ticks = round_ticks(low, high, count)
        if to_tick:
            return cls(title, unit, ticks[0], ticks[-1], ticks)
        inside = tuple(tick for tick in ticks if tick <= high + 1e-9 * (high - low))
        return cls(title, unit, ticks[0], high, inside)

    def place(self, value: float) -> float:
        """Return the place of a value along the axis, 0 at its low end and 1 at its high end [-]."""
        return (value - self.low) / (self.high - self.low)

    def layout(self) -> dict[str, object]:
        """Return what the page layout draws."""
        step = self.ticks[1] - self.ticks[0] if len(self.ticks) > 1 else self.high - self.low
        return {
            "title": self.title + (f" [{self.unit}]" if self.unit != "-" else ""),
            "ticks": [{"at": _fraction(self.place(t)), "text": shown_number(t, step)} for t in self.ticks],
        }


@dataclass(frozen=True, slots=True)
class Band:
    """A tolerance band along a line: its low and high edge at the given places."""

    x: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Series:
    """One line of a plot.

    Parameters
    ----------
    name : text
        Label that stands at the end of the line.
    x, y : tuple of float
        Points, in the units of the axes, x rising.
    style : int
        Line style; equal numbers look equal in every plot of a report.
    limit : float, optional
        From this x on the line is no more than an estimate: it is drawn thin,
        with an open circle where that begins.
    band : Band, optional
        Tolerance band to shade behind the line.
    dots : tuple of pairs
        Single points to mark, such as the two values of an oil's data sheet.
    """

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    style: int = 0
    limit: float | None = None
    band: Band | None = None
    dots: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Guide:
    """A thin upright line at one x with a word beside it, such as the working temperature."""

    x: float
    text: str


@dataclass(frozen=True, slots=True)
class Plot:
    """A plot: two axes and its lines.

    Parameters
    ----------
    x, y : Axis
        The axes.
    series : tuple of Series
        The lines.
    guides : tuple of Guide
        Upright marks.
    """

    x: Axis
    y: Axis
    series: tuple[Series, ...]
    guides: tuple[Guide, ...] = ()

    def layout(self, *, label_step: float = 0.07) -> dict[str, object]:
        """Compute what the page layout draws.

        Parameters
        ----------
        label_step : float
            Least distance between two labels as a fraction of the height [-], above 0.

        Returns
        -------
        dict
            Axes, lines, bands, dots, guides and labels in fractions of width
            and height, measured from the lower left corner.
        """
        lines = [self._line(series) for series in self.series]
        ends = [_last_inside(series, self) for series in self.series]
        places = spread([end[1] for end in ends], label_step)
        labels = [
            {
                "text": _short(series.name),
                "style": series.style % STYLES,
                "from": [_fraction(end[0]), _fraction(end[1])],
                "at": _fraction(place),
                "moved": abs(place - end[1]) > label_step / 4 or end[0] < 0.98,
            }
            for series, end, place in zip(self.series, ends, places, strict=True)
        ]
        guides = [
            {"at": _fraction(self.x.place(guide.x)), "text": guide.text}
            for guide in self.guides
            if self.x.low <= guide.x <= self.x.high
        ]
        return {
            "x": self.x.layout(),
            "y": self.y.layout(),
            "lines": lines,
            "labels": labels,
            "guides": guides,
            "limited": any(series.limit is not None for series in self.series),
        }

    def _line(self, series: Series) -> dict[str, object]:
        points = list(zip(series.x, series.y, strict=True))
        solid, thin = _split(points, series.limit)
        band: list[list[float]] = []
        if series.band is not None:
            edge = series.band
            there = zip(edge.x, edge.high, strict=True)
            back = zip(reversed(edge.x), reversed(edge.low), strict=True)
            band = self._places([*there, *back])
        return {
            "style": series.style % STYLES,
            "points": self._places(solid),
            "thin": self._places(thin),
            "ring": self._places(thin[:1]),
            "band": band,
            "dots": self._places(list(series.dots)),
        }

    def _places(self, points: Sequence[tuple[float, float]]) -> list[list[float]]:
        return [[_fraction(self.x.place(x)), _fraction(self.y.place(y))] for x, y in points]


def round_ticks(low: float, high: float, count: int = 5) -> tuple[float, ...]:
    """Choose ticks at multiples of 1, 2 or 5 times a power of ten that enclose a range.

    Parameters
    ----------
    low, high : float
        Range to enclose, high above low.
    count : int
        About how many steps, above 0.

    Returns
    -------
    tuple of float
        Rising ticks; the first is at or below low, the last at or above high.

    Raises
    ------
    InputError
        If the range is empty.

    Examples
    --------
    >>> round_ticks(0.0, 0.93)
    (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
    >>> round_ticks(-3.0, 61.0, 4)
    (-20.0, 0.0, 20.0, 40.0, 60.0, 80.0)
    """
    if not high > low:
        raise InputError("an axis needs a high end above its low end", found=f"{low:g} to {high:g}")
    raw = (high - low) / count
    power = 10.0 ** math.floor(math.log10(raw))
    # The nearest on a scale of ratios: 120 in 5 steps goes by twenties, not by fifties.
    factor = min(_ROUND_STEPS, key=lambda step: abs(math.log(raw / (step * power))))
    step = factor * power
    first = math.floor(low / step + 1e-9)
    last = math.ceil(high / step - 1e-9)
    # Going through the shortest decimal keeps 0.6000000000000001 out of the drawing.
    return tuple(float(f"{index * step:.12g}") for index in range(first, last + 1))


def shown_number(value: float, step: float) -> str:
    """Write a number with just the decimals that a step needs.

    Parameters
    ----------
    value : float
        The number.
    step : float
        Distance between neighbouring numbers, above 0.

    Returns
    -------
    text
        With a real minus sign.

    Examples
    --------
    >>> shown_number(0.5, 0.25), shown_number(-20.0, 20.0)
    ('0.50', '−20')
    """
    digits = 0
    while digits < 9 and abs(step * 10**digits - round(step * 10**digits)) > 1e-6 * step * 10**digits:
        digits += 1
    text = f"{value:.{digits}f}"
    return text.replace("-", "−") if float(text) != 0 else f"{0:.{digits}f}"


def spread(places: Sequence[float], step: float) -> list[float]:
    """Move labels apart so that none covers another, each as near to its own place as it can be.

    Parameters
    ----------
    places : sequence of float
        Wanted places along one line.
    step : float
        Least distance between two labels, above 0.

    Returns
    -------
    list of float
        New places, in the order given; the order along the line is kept.

    Examples
    --------
    >>> spread([0.5, 0.0, 0.5], 0.1)
    [0.45, 0.0, 0.55]
    """
    order = sorted(range(len(places)), key=lambda index: places[index])
    # Labels that touch form a block, and a block stands at the mean of what its members want.
    blocks: list[tuple[float, list[int]]] = []
    for index in order:
        blocks.append((places[index], [index]))
        while len(blocks) > 1 and _reach(blocks[-2], step, 1) + step > _reach(blocks[-1], step, -1) + 1e-12:
            members = blocks[-2][1] + blocks[-1][1]
            blocks[-2:] = [(sum(places[member] for member in members) / len(members), members)]
    result = [0.0] * len(places)
    for centre, members in blocks:
        for number, member in enumerate(members):
            result[member] = round(centre + (number - (len(members) - 1) / 2) * step, 12)
    return result


def _reach(block: tuple[float, list[int]], step: float, side: int) -> float:
    return block[0] + side * (len(block[1]) - 1) / 2 * step


def _split(
    points: list[tuple[float, float]], limit: float | None
) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Part a line at its limit, with the point on the limit in both parts."""
    if limit is None or not points or limit >= points[-1][0]:
        return points, []
    if limit <= points[0][0]:
        return [], points
    before = [point for point in points if point[0] < limit]
    after = [point for point in points if point[0] > limit]
    (x0, y0), (x1, y1) = next(pair for pair in itertools.pairwise(points) if pair[1][0] >= limit)
    joint = (limit, y0 + (y1 - y0) * (limit - x0) / (x1 - x0))
    return [*before, joint], [joint, *after]


def _last_inside(series: Series, plot: Plot) -> tuple[float, float]:
    inside = [
        (plot.x.place(x), plot.y.place(y))
        for x, y in zip(series.x, series.y, strict=True)
        if plot.x.low <= x <= plot.x.high and plot.y.low <= y <= plot.y.high
    ]
    return inside[-1] if inside else (1.0, 1.0)


def _short(name: str) -> str:
    """Two lines of a label at most; the whole name stands in the table below."""
    return name if len(name) <= LABEL_LENGTH else name[: LABEL_LENGTH - 1].rstrip() + "…"


def _fraction(value: float) -> float:
    # Five digits are finer than any printer, and keep the page data small and equal everywhere.
    return round(value, 5)
