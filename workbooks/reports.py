"""The report of one job: which blocks it has, and in which words.

Results are asked of the cell functions (workbooks/answers.py), sentences come
from workbooks/findings.py, drawings from workbooks/plots.py and
workbooks/sections.py. Here they are put in order.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import dampcell
from dampcell.functions.registry import CellError
from dampcell.functions.stacks import ENDURANCE_LIMIT
from dampcell.workbooks import pages
from dampcell.workbooks.answers import OilAnswers, StackAnswers, ask_oil, ask_stack
from dampcell.workbooks.fields import read_template_table
from dampcell.workbooks.findings import (
    change,
    dial_findings,
    figure,
    label_range,
    oil_findings,
    percent,
    stack_findings,
    stack_remarks,
)
from dampcell.workbooks.pages import Block, Page
from dampcell.workbooks.plots import Axis, Guide, Plot, Series
from dampcell.workbooks.record import Checkpoint, Entry, JobRecord
from dampcell.workbooks.results import CellResult, CellValue, Recalculated
from dampcell.workbooks.sections import SectionScale, layers_of, section_layout

__all__ = ["ESTIMATES", "report_page"]

ESTIMATES = "Results are estimates, to be confirmed by a qualified person."

_THEORIES = {
    "large": "large lift, good up to an edge lift of twice the thickness",
    "small": "small lift, the straight line",
}
_FILL_SECTION = "Fill and bleed"
_MOST_STALE = 40
_SECTION_LABELS = 23.0
_GUTTER = 4.5


@dataclass(frozen=True, slots=True)
class _Answers:
    """All that was asked for one report."""

    stacks: tuple[StackAnswers, ...]
    oil: OilAnswers | None
    reference_load: float
    maximum_load: float


def report_page(record: JobRecord, recalculated: Recalculated, data: bytes) -> Page:
    """Compose the report of one job.

    Parameters
    ----------
    record : JobRecord
        What the workbook says, with recalculated results.
    recalculated : Recalculated
        All formula cells, for what is stale or could not be computed.
    data : bytes
        The workbook's bytes, of which the footer states the hash.

    Returns
    -------
    Page
    """
    answers = _ask(record)
    job = record.job
    blocks = [
        *_summary(record, answers),
        *_job(record),
        *_stacks(record, answers),
        *_oil(record, answers),
        *_fill(record),
        *_checklist(record),
        *_audit(recalculated),
    ]
    done = _day(job.job_date)
    return Page(
        title=job.damper or "Damper",
        subtitle=" · ".join(words for words in (job.vehicle, job.service_kind) if words),
        workshop=job.workshop or "Workshop",
        kind="Service report",
        reference=tuple(
            words for words in (f"Job {job.job_number}" if job.job_number else "", done) if words
        ),
        footer=(
            f"Job {job.job_number} · {record.file} · SHA-256 {hashlib.sha256(data).hexdigest()[:16]} · "
            f"functions of Dampcell {dampcell.__version__}"
        ),
        footer_caution=ESTIMATES,
        blocks=tuple(blocks),
        date=job.job_date,
    )


def _ask(record: JobRecord) -> _Answers:
    seat = record.seat
    reference = _entry_number(record.entries.get("working_load")) or seat.maximum_load / 2
    oil = record.oil
    known = oil.viscosity_40 is not None and oil.viscosity_100 is not None
    return _Answers(
        stacks=tuple(ask_stack(variant, seat, reference) for variant in record.variants),
        oil=ask_oil(oil) if known else None,
        reference_load=reference,
        maximum_load=seat.maximum_load,
    )


def _summary(record: JobRecord, answers: _Answers) -> list[Block]:
    sentences = [
        *stack_findings(answers.stacks, answers.reference_load, answers.maximum_load),
        *(oil_findings(record.oil, answers.oil) if answers.oil else []),
        *_oil_to_have(record),
        *dial_findings(record.job.dials),
    ]
    return [pages.findings("In short", sentences)] if sentences else []


def _oil_to_have(record: JobRecord) -> list[tuple[str, str]]:
    ready = _entry_number(record.entries.get("oil_ready"))
    return (
        [] if ready is None else [("Oil to have ready:", f"{figure(ready)} ml, with what hose and rag take.")]
    )


def _job(record: JobRecord) -> list[Block]:
    job = record.job
    rows = [
        ("Damper", job.damper),
        ("Vehicle", job.vehicle),
        ("Serial number", job.serial),
        ("Customer code", job.customer_code),
        ("Service", job.service_kind),
        ("Date in", _day(job.date_in)),
        ("Date done", _day(job.job_date)),
        ("Technician", job.technician),
        ("Since last service", _hours(job.hours_since_last)),
        ("Service interval", _hours(job.service_interval)),
    ]
    left = [pages.heading("The job", 2), pages.facts([(name, value) for name, value in rows if value])]
    right: list[Block] = []
    if job.rider_note:
        right += [pages.heading("What the rider says", 2), pages.text(job.rider_note)]
    if job.work_note:
        right += [pages.heading("What was found and what was done", 2), pages.text(job.work_note)]
    blocks = [pages.columns(left, right)] if right else left
    dials = [dial for dial in job.dials if dial.adjuster]
    if dials:
        blocks += [
            pages.heading("Dial positions", 2),
            pages.table(
                [("Adjuster", ""), ("Clicks in all", ""), ("As found", ""), ("As left", ""), ("Note", "")],
                [
                    [dial.adjuster, *map(_count, (dial.total_clicks, dial.as_found, dial.as_left)), dial.note]
                    for dial in dials
                ],
                texts=(0, 4),
                fill=(4,),
                note="Clicks are counted from fully closed.",
            ),
        ]
    return blocks


def _stacks(record: JobRecord, answers: _Answers) -> list[Block]:
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
            [_compared(stack, found) for stack in answers.stacks],
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


def _pictures(record: JobRecord, answers: _Answers) -> list[Block]:
    drawn = [stack for stack in answers.stacks if stack.rows]
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


def _lift_plot(answers: _Answers, drawn: Sequence[StackAnswers]) -> Block:
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


def _compared(stack: StackAnswers, found: StackAnswers) -> list[str]:
    if stack.problem:
        return [stack.label, *["–"] * 7]
    own, band = stack is found, stack.lift_band
    seated = stack.stiffness.number is None and stack.lift.number == 0
    return [
        stack.label,
        figure(stack.opening.number),
        figure(stack.lift.number),
        "–" if band is None else f"{figure(band[0])} to {figure(band[1])}",
        "" if own else percent(change(stack.lift.number, found.lift.number)),
        "on its seat" if seated else figure(stack.stiffness.number),
        "" if own else percent(change(stack.stiffness.number, found.stiffness.number)),
        figure(stack.stress_ratio, 2),
    ]


def _oil(record: JobRecord, answers: _Answers) -> list[Block]:
    oil, asked = record.oil, answers.oil
    if asked is None:
        return []
    low, high = label_range(asked)
    warm = "" if oil.working_temperature is None else f" at {oil.working_temperature:g} °C"
    says = [("Oil", oil.oil_name), ("Label", oil.oil_label), ("Batch or bottle", oil.oil_batch)]
    if low is not None and high is not None:
        says.append(("Such labels hold", f"{low:g} to {high:g} mm²/s at 40 °C"))
    really = [
        ("Viscosity at 40 °C", f"{figure(oil.viscosity_40)} mm²/s"),
        ("Viscosity at 100 °C", f"{figure(oil.viscosity_100)} mm²/s"),
        ("ISO class", _answer_text(asked.grade.value)),
        ("Viscosity index", figure(asked.index.number)),
        (f"Viscosity{warm}", f"{figure(asked.working.number)} mm²/s" if asked.working.number else ""),
        (f"Density{warm}", f"{figure(asked.density.number, 4)} kg/m³" if asked.density.number else ""),
    ]
    blocks = [
        pages.heading("The oil"),
        pages.columns(
            [pages.heading("What the bottle says", 2), pages.facts([row for row in says if row[1]])],
            [pages.heading("What it really is", 2), pages.facts([row for row in really if row[1]])],
        ),
    ]
    if asked.curve:
        temperatures, viscosities = zip(*asked.curve, strict=True)
        points = ((40.0, oil.viscosity_40 or 0.0), (100.0, oil.viscosity_100 or 0.0))
        guides = (
            ()
            if oil.working_temperature is None
            else (Guide(oil.working_temperature, "working temperature"),)
        )
        blocks += [
            pages.heading("Viscosity against temperature", 2),
            pages.plot(
                Plot(
                    Axis.over("oil temperature", "°C", temperatures, to_tick=False),
                    Axis.over("kinematic viscosity", "mm²/s", viscosities),
                    (Series(oil.oil_name or "this oil", temperatures, viscosities, style=1, dots=points),),
                    guides,
                ),
                height=46,
                note=(
                    "Drawn through the two values of the data sheet (dots) by ASTM D341. A label such as a "
                    '"weight" is no standard: the viscosity is the number that counts.'
                ),
            ),
        ]
    return blocks


def _fill(record: JobRecord) -> list[Block]:
    inputs = [
        (pair.name[:1].upper() + pair.name[1:].replace("_", " "), _with_unit(pair.value, pair.unit))
        for pair in record.fill.cartridge
        if pair.value not in (None, "")
    ]
    results = [
        (entry.field.label, _with_unit(entry.value, entry.field.unit))
        for entry in record.results.values()
        if entry.field.section == _FILL_SECTION and isinstance(entry.value, float)
    ]
    blocks: list[Block] = []
    if inputs or results:
        blocks.append(pages.heading("Fill and bleed"))
        left = [pages.heading("Oil volumes", 2), pages.facts(results)] if results else []
        right = [pages.heading("Reckoned with", 2), pages.facts(inputs)] if inputs else []
        blocks.append(pages.columns(left, right) if left else pages.columns(right, []))
    steps = [step for step in record.fill.bleed_log if step.step or step.oil_in or step.oil_out]
    if steps:
        blocks += [
            pages.heading("Bleed log", 2),
            pages.table(
                [("Step", ""), ("Oil in", "ml"), ("Oil out", "ml"), ("Note", "")],
                [[step.step, _count(step.oil_in), _count(step.oil_out), step.note] for step in steps],
                texts=(0, 3),
                fill=(3,),
            ),
        ]
    return blocks


def _checklist(record: JobRecord) -> list[Block]:
    cautions = pages.caution("Cautions", [row["caution"] for row in read_template_table("cautions")])
    if not record.checklist:
        return [pages.heading("Cautions"), cautions]
    return [
        pages.heading("Checklist"),
        cautions,
        pages.checklist([_checked(point) for point in record.checklist]),
        pages.text("Torques are those the workshop wrote down; the maker's manual comes first.", small=True),
    ]


def _audit(recalculated: Recalculated) -> list[Block]:
    blocks: list[Block] = []
    problems = [*recalculated.findings, *recalculated.errors()]
    if problems:
        blocks += [
            pages.heading("What could not be computed"),
            pages.table(
                [("Sheet", ""), ("Cell", ""), ("Reason", "")],
                [[one.sheet, one.cell, one.problem] for one in problems],
                texts=(0, 1, 2),
                fill=(2,),
            ),
        ]
    stale = recalculated.stale()
    if stale:
        shown = stale[:_MOST_STALE]
        more = len(stale) - len(shown)
        blocks += [
            pages.heading("Saved values that differ"),
            pages.text(
                "These cells held another value when the workbook was saved than its inputs give now. "
                "The report and the refreshed copy of the workbook hold the new values."
            ),
            pages.table(
                [("Sheet", ""), ("Cell", ""), ("Saved", ""), ("Recalculated", "")],
                [[cell.sheet, cell.cell, cell_text(cell.saved), cell_text(cell.value)] for cell in shown],
                texts=(0, 1),
                fill=(),
                note=f"And {more} more cells." if more else "",
            ),
        ]
    return blocks


def cell_text(value: CellValue) -> str:
    """Write a cell value for the audit: an error as its code, a number with all digits that differ."""
    if value is None:
        return ""
    if isinstance(value, CellError):
        return value.code
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return f"{value:.10g}".replace("-", "−")
    return value if len(value) <= 60 else value[:59] + "…"


def _checked(point: Checkpoint) -> pages.Step:
    """A line of the checklist; the caution stays with what is still to be done."""
    done = point.state == "done"
    remark = "; ".join(words for words in ("" if done else point.state, point.note) if words)
    caution = "" if point.state else point.caution
    return pages.Step(_PHASES.get(point.phase, ""), done, point.item, _count(point.torque), remark, caution)


_PHASES = {"before": "Before opening", "during": "During the work", "after": "After closing"}


def _entry_number(entry: Entry | None) -> float | None:
    return entry.value if entry is not None and isinstance(entry.value, float) else None


def _answer_text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _with_unit(value: object, unit: str) -> str:
    shown = (
        figure(float(value)) if isinstance(value, float | int) and not isinstance(value, bool) else str(value)
    )
    return f"{shown} {unit}" if unit and unit != "-" and shown != "–" else shown


def _count(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _hours(value: float | None) -> str:
    return "" if value is None else f"{value:g} h"


def _day(day: datetime.date | None) -> str:
    # Months in words: 03.04. and 04/03 are read differently on two sides of an ocean.
    return "" if day is None else f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

__all__ += ["CellResult", "cell_text"]
