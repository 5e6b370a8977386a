"""The part of the report that shows the damping: force against velocity, table, flow shares, findings."""

from __future__ import annotations

from collections.abc import Sequence

from dampcell.workbooks import pages
from dampcell.workbooks.damping_answers import BuildDamping, DampingAnswers, Shares
from dampcell.workbooks.damping_findings import Finding
from dampcell.workbooks.findings import change, figure, joined, percent
from dampcell.workbooks.pages import Block
from dampcell.workbooks.plots import Axis, Band, Guide, Plot, Series

__all__ = ["damping_blocks"]

_HEADING = "Force against velocity"


def damping_blocks(answers: DampingAnswers, found: Sequence[Finding]) -> list[Block]:
    """Compose the part on the damping: plot with bands, table, summary, flow shares, findings.

    Parameters
    ----------
    answers : DampingAnswers
        What the cell functions answered.
    found : sequence of Finding
        What the numbers mean.

    Returns
    -------
    list of Block
        One line that says why where there is no force; empty where there is no stack either.
    """
    if answers.problem:
        return [pages.text(f"{_HEADING} is not shown: {answers.problem.rstrip('.')}.", small=True)]
    solved = [build for build in answers.builds if not build.problem]
    if not solved:
        return []
    slow = [pages.heading("At low speed", 2), _plot(answers, solved, slow=True)]
    return [
        pages.heading(_HEADING),
        _plot(answers, solved),
        *(slow if solved[0].slow_curve.velocities else []),
        pages.heading("What it means", 2),
        pages.remarks([(one.subject, joined(one.sentences)) for one in found]),
        pages.heading("Force at a velocity, and change against as found", 2),
        _forces(answers),
        pages.heading("Slopes, knee and opening", 2),
        _summary(answers),
        pages.heading("Which way the oil goes", 2),
        _shares(answers),
    ]


def _plot(answers: DampingAnswers, solved: Sequence[BuildDamping], *, slow: bool = False) -> Block:
    drawn = [(build, build.slow_curve if slow else build.curve) for build in solved]
    series = tuple(
        Series(
            build.label,
            curve.velocities,
            curve.forces,
            style=build.style,
            limit=build.limit,
            band=Band(curve.velocities, curve.low, curve.high) if curve.low else None,
        )
        for build, curve in drawn
    )
    starts = [build.cavitates_from for build in solved if build.cavitates_from is not None]
    return pages.plot(
        Plot(
            Axis.over("shaft velocity", "m/s", drawn[0][1].velocities, to_tick=False),
            Axis.over(
                "damping force", "N", [force for _, curve in drawn for force in curve.high or curve.forces]
            ),
            series,
            (Guide(min(starts), "first jets cavitate"),) if starts else (),
        ),
        height=48 if slow else 70,
        note="" if slow else _plot_note(answers, solved),
    )


def _plot_note(answers: DampingAnswers, solved: Sequence[BuildDamping]) -> str:
    warm = "" if answers.temperature is None else f" with oil at {answers.temperature:g} °C"
    notes = [f"In the direction that lifts the stack{warm}, without friction and gas force."]
    if any(build.curve.low for build in solved):
        notes.append(f"Shaded: every shim {1000 * answers.tolerance:g} µm thicker or thinner.")
    if any(build.limit is not None for build in solved):
        notes.append(
            "Thin line from the open circle on: a shim lifts more than twice its thickness, and the line is "
            "a trend."
        )
    notes += [
        f"{build.label} has no band: {build.band_problem.rstrip('.')}."
        for build in solved
        if build.band_problem
    ]
    return " ".join(notes)


def _forces(answers: DampingAnswers) -> Block:
    first = answers.builds[0]
    rows: list[list[str]] = []
    for build in answers.builds:
        forces = build.forces or (None,) * len(answers.velocities)
        rows.append([build.label, "N", *map(figure, forces)])
        if build is not first:
            changes = (
                change(own, before)
                for own, before in zip(forces, first.forces or (None,) * len(forces), strict=True)
            )
            rows.append(["against as found", "%", *map(percent, changes)])
    heads = [("Build", ""), ("", ""), *((f"{velocity:g}", "m/s") for velocity in answers.velocities)]
    return pages.table(heads, rows, texts=(0, 1), note="Minus is softer than as found, plus is firmer.")


def _summary(answers: DampingAnswers) -> Block:
    fastest = answers.velocities[-1]
    rows = [
        [
            build.label,
            f"{build.clicks:g}",
            figure(build.summary.low_speed_slope),
            figure(build.summary.knee_velocity, 2),
            figure(build.summary.knee_force),
            figure(build.summary.high_speed_slope),
            figure(build.summary.opening_pressure),
            figure(build.margins[-1] if build.margins else None),
        ]
        for build in answers.builds
    ]
    careful = (
        ", reckoned with the reservoir's pressure alone, as if no base valve helped"
        if answers.has_rod
        else ""
    )
    return pages.table(
        [
            ("Build", ""),
            ("Clicks open", ""),
            ("Low-speed slope", "N·s/m"),
            ("Knee at", "m/s"),
            ("Knee at", "N"),
            ("High-speed slope", "N·s/m"),
            ("Opens at", "bar"),
            (f"Margin at {fastest:g} m/s", "bar"),
        ],
        rows,
        note=(
            "Low-speed slope: force over velocity near standstill. Knee: where half of the oil goes under "
            "the shims; a dash if it never does. High-speed slope: at the end of the curve. Opens at: "
            "pressure that lifts the face shim off its seat. Margin: pressure left before the jets cavitate"
            f"{careful}; below 0 they do."
        ),
    )


def _shares(answers: DampingAnswers) -> Block:
    slowest, fastest = answers.velocities[0], answers.velocities[-1]
    return pages.columns(
        _paths(slowest, [(build.label, build.slow) for build in answers.builds]),
        _paths(fastest, [(build.label, build.fast) for build in answers.builds]),
    )


def _paths(velocity: float, shares: Sequence[tuple[str, Shares | None]]) -> list[Block]:
    rows = [
        [
            label,
            *(
                "–" if part is None else f"{100 * part:.0f}"
                for part in ((None,) * 4 if one is None else (one.shims, one.bleed, one.needle, one.leak))
            ),
        ]
        for label, one in shares
    ]
    heads = [(f"At {velocity:g} m/s", ""), ("Shims", "%"), ("Bleed", "%"), ("Adjuster", "%"), ("Leaks", "%")]
    return [pages.table(heads, rows, note="Share of the oil on each path.")]
