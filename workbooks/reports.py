"""The report of one job: which blocks it has, and in which words.

Results are asked of the cell functions (workbooks/answers.py), sentences come
from workbooks/findings.py, drawings from workbooks/plots.py and
workbooks/sections.py. Here they are put in order.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Sequence

import dampcell
from dampcell.workbooks import pages
from dampcell.workbooks.answers import JobAnswers, ask_job, number_of
from dampcell.workbooks.audit import audit_blocks
from dampcell.workbooks.damping_answers import ask_damping
from dampcell.workbooks.damping_findings import Finding, damping_findings, in_short
from dampcell.workbooks.damping_report import damping_blocks
from dampcell.workbooks.fields import read_template_table
from dampcell.workbooks.findings import dial_findings, figure, label_range, oil_findings, stack_findings
from dampcell.workbooks.pages import Block, Page
from dampcell.workbooks.plots import Axis, Guide, Plot, Series
from dampcell.workbooks.record import Checkpoint, JobRecord
from dampcell.workbooks.results import Recalculated
from dampcell.workbooks.stack_report import stack_blocks

__all__ = ["ESTIMATES", "report_page"]

ESTIMATES = "Results are estimates, to be confirmed by a qualified person."

_FILL_SECTION = "Fill and bleed"


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
    answers = ask_job(record)
    damping = ask_damping(record)
    meaning = damping_findings(damping)
    job = record.job
    blocks = [
        *_summary(record, answers, meaning),
        *_job(record),
        *stack_blocks(record, answers),
        *damping_blocks(damping, meaning),
        *_oil(record, answers),
        *_fill(record),
        *_checklist(record),
        *audit_blocks(recalculated),
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


def _summary(record: JobRecord, answers: JobAnswers, meaning: Sequence[Finding]) -> list[Block]:
    sentences = [
        *stack_findings(answers.stacks, answers.reference_load, answers.maximum_load),
        *in_short(meaning),
        *(oil_findings(record.oil, answers.oil) if answers.oil else []),
        *_oil_to_have(record),
        *dial_findings(record.job.dials),
    ]
    return [pages.findings("In short", sentences)] if sentences else []


def _oil_to_have(record: JobRecord) -> list[tuple[str, str]]:
    ready = number_of(record.entries.get("oil_ready"))
    return (
        []
        if ready is None
        else [("Oil to have ready:", f"{figure(ready)} ml, hose, syringe and waste included.")]
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


def _oil(record: JobRecord, answers: JobAnswers) -> list[Block]:
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


def _checked(point: Checkpoint) -> pages.Step:
    """A line of the checklist; the caution stays with what is still to be done."""
    done = point.state == "done"
    remark = "; ".join(words for words in ("" if done else point.state, point.note) if words)
    caution = "" if point.state else point.caution
    return pages.Step(_PHASES.get(point.phase, ""), done, point.item, _count(point.torque), remark, caution)


_PHASES = {"before": "Before opening", "during": "During the work", "after": "After closing"}


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
