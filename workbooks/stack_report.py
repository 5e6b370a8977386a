"""The part of the report that shows the stacks: pictures, lift against load, comparison, remarks."""

from __future__ import annotations

from collections.abc import Sequence

from dampcell.functions.stacks import ENDURANCE_LIMIT
from dampcell.workbooks import pages
from dampcell.workbooks.answers import JobAnswers, StackAnswers
from dampcell.workbooks.findings import change, figure, lift_change, percent, stack_remarks
from dampcell.workbooks.pages import Block
from dampcell.workbooks.plots import Axis, Guide, Plot, Series
from dampcell.workbooks.record import JobRecord
from dampcell.workbooks.sections import SectionScale, layers_of, pieces_of, section_layout

__all__ = ["stack_blocks"]

_THEORIES = {
    "large": "large lift, good up to an edge lift of twice the thickness",
    "small": "small lift, the straight line",
}
_SECTION_LABELS = 23.0
_MOST_PIECES = 200  # of one stack, that a picture can show
_GUTTER = 4.5


def stack_blocks(record: JobRecord, answers: JobAnswers) -> list[Block]:
    """Compose the part on the stacks: pictures, lift against load, comparison, remarks.

    Parameters
    ----------
    record : JobRecord
        What the workbook says.
    answers : JobAnswers
        What the cell functions answered.

    Returns
    -------
    list of Block
        Empty when there is no stack.
    """
    if not answers.stacks:
        return []
    seat = record.seat
    place = f"The {seat.stack_place} stack" if seat.stack_place else "The stack"
    blocks = [pages.heading(place), *_pictures(record, answers)]
    drawn = [stack for stack in answers.stacks if stack.curve]
    if drawn:
        blocks += [pages.heading("Lift against load", 2), _lift_plot(answers, drawn)]
    load, most = f"{answers.reference_load:g}", f"{answers.maximum_load:g}"
    found = answers.stacks[0]
    blocks += [
        pages.heading(f"Compared at {load} N", 2),
        pages.table(
            [
                ("Build", ""),
                ("Opens at", "N"),
                ("Lift", "mm"),
                ("Within ±5 µm", "mm"),
                ("Change", "%"),
                ("Stiffness", "N/mm"),
                ("Change", "%"),
                ("Stress ratio", "-"),
            ],
            [_compared(stack, found, answers.reference_load) for stack in answers.stacks],
            note=(
                f"Total load on the circle of {figure(seat.load_diameter)} mm; lift above the flat position "
                f"of the face shim{_seat_words(seat.seat_height)}; changes against the stack as found. "
                "Within ±5 µm: the lift if every shim is that much thicker or thinner; smaller "
                "differences between builds say little. Stiffness: slope of load over lift. Stress ratio: "
                f"worst surface stress at {most} N over the endurance limit of "
                f"{figure(seat.endurance_limit or ENDURANCE_LIMIT)} MPa"
                f"{'' if seat.endurance_limit else ' (typical; ask the maker of the shims)'}. "
                f"Theory: {_THEORIES[seat.theory]}."
            ),
        ),
    ]
    remarks = stack_remarks(answers.stacks)
    if remarks:
        blocks += [pages.heading("Remarks on the builds", 2), pages.remarks(remarks)]
    return blocks


def _seat_words(height: float) -> str:
    return f", on a seat that stands {height:g} mm high" if height else ""


def _pictures(record: JobRecord, answers: JobAnswers) -> list[Block]:
    drawn = [stack for stack in answers.stacks if 0 < pieces_of(stack.rows) <= _MOST_PIECES]
    if not drawn:
        return []
    # All are drawn at the scale of three in a row; four stand in two rows, as the labels need their room.
    across = 2 if len(drawn) == 4 else 3
    width = (pages.TEXT_WIDTH - (across - 1) * _GUTTER) / across
    picture = (pages.TEXT_WIDTH - 2 * _GUTTER) / 3
    layers = [layers_of(stack.rows) for stack in drawn]
    scale = SectionScale.fitting(layers, width=picture, label_width=_SECTION_LABELS)
    pictures = [
        section_layout(stack.label, stack.rows, scale, load_diameter=record.seat.load_diameter)
        for stack in drawn
    ]
    rings = any(layer.part == "ring" for stack in layers for layer in stack)
    note = (
        f"Half sections, flat and unloaded, from the piston face (below) to the clamp. Thicknesses are "
        "drawn "
        f"{scale.factor:g} times larger than diameters; sizes are pieces × outer diameter × thickness "
        "in mm. The "
        "arrow marks the load circle; inside the clamp diameter the picture is schematic."
    )
    if any(pieces_of(stack.rows) > _MOST_PIECES for stack in answers.stacks):
        note += f" A stack of more than {_MOST_PIECES} pieces is not drawn."
    if rings:
        note += " A ring that reaches into the next shim presses the stack on its seat."
    return [
        {
            "kind": "sections",
            "items": pictures,
            "width": round(width, 3),
            "across": across,
            "gutter": _GUTTER,
            "note": note,
        }
    ]


def _lift_plot(answers: JobAnswers, drawn: Sequence[StackAnswers]) -> Block:
    series = tuple(
        Series(
            stack.label,
            tuple(load for load, _ in stack.curve),
            tuple(lift for _, lift in stack.curve),
            style=answers.stacks.index(stack),
            limit=stack.limit,
        )
        for stack in drawn
    )
    loads = [load for one in series for load in one.x]
    lifts = [lift for one in series for lift in one.y]
    limited = any(one.limit is not None for one in series)
    return pages.plot(
        Plot(
            Axis.over("load on the face shim", "N", loads, to_tick=False),
            Axis.over("lift at the load circle", "mm", lifts),
            series,
            (Guide(answers.reference_load, "compared here"),),
        ),
        height=62,
        note=(
            "Thin line from the open circle on: a shim lifts more than twice its thickness, beyond the "
            "axisymmetric "
            "range, and the line is rough."
            if limited
            else ""
        ),
    )


def _compared(stack: StackAnswers, found: StackAnswers, load: float) -> list[str]:
    if stack.problem:
        return [stack.label, *["–"] * 7]
    own, band, shut = stack is found, stack.lift_band, stack.is_shut(load)
    return [
        stack.label,
        figure(stack.opening.number),
        "shut" if shut else figure(stack.lift.number),
        "–" if band is None else f"{figure(band[0])} to {figure(band[1])}",
        "" if own else percent(lift_change(stack, found, load)),
        "–" if shut else figure(stack.stiffness.number),
        "" if own else percent(change(stack.stiffness.number, found.stiffness.number)),
        figure(stack.stress_ratio, 2),
    ]
