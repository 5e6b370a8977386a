"""Damping in plain words: where builds differ, which path decides, what the dial still does, cavitation.

Nothing is computed here but differences in percent of numbers that the cell
functions gave.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from dampcell.workbooks.damping_answers import DIAL_VELOCITY, BuildDamping, DampingAnswers, Shares
from dampcell.workbooks.findings import LITTLE, Entry, change, figure

__all__ = ["Finding", "Run", "change_runs", "changes_of", "damping_findings", "in_short"]

FELT = 0.5
"""Change of force from which on a click counts as working [%]; our own choice, no source."""

DECIDES = 0.25
"""Share of the oil from which on a path is named [-]; our own choice, no source."""

THIN = 0.25
"""Part of the margin at standstill below which a margin to cavitation is called thin [-]; our own choice."""

_PATHS = {"shims": "the shims", "bleed": "the bleed", "needle": "the adjuster", "leak": "leaks"}


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding.

    Parameters
    ----------
    subject : text
        Of what it speaks.
    sentences : tuple of text
        All there is to say, without full stops.
    headline : text
        The strongest of it, for the summary; empty when it is nothing for the summary.
    """

    subject: str
    sentences: tuple[str, ...]
    headline: str = ""


@dataclass(frozen=True, slots=True)
class Run:
    """A range of velocities in which a build is softer (−1), firmer (1) or as found (0).

    Parameters
    ----------
    sign : int
        Which of the three.
    start, end : float
        Velocities at which it begins and ends [m/s].
    changes : tuple of (velocity, percent)
        The points within.
    """

    sign: int
    start: float
    end: float
    changes: tuple[tuple[float, float], ...]


def damping_findings(answers: DampingAnswers) -> list[Finding]:
    """Say what the numbers of the damping mean.

    Parameters
    ----------
    answers : DampingAnswers
        What the cell functions answered.

    Returns
    -------
    list of Finding
        Builds first, the one as found before the others; empty without any force.
    """
    found: list[Finding] = []
    first = answers.builds[0] if answers.builds else None
    for build in answers.builds:
        if build.problem:
            sentence = f"cannot be computed: {build.problem.rstrip('.')}"
            found.append(Finding(f"{build.label}, damping:", (sentence,), sentence))
        elif build is first:
            found.extend(_as_it_is(build, answers))
        else:
            found.extend(_against(build, first, answers) if first is not None and not first.problem else [])
    solved = [build for build in answers.builds if not build.problem]
    return [
        *found,
        *_dial(solved, answers),
        *_cavitation(solved, answers),
        *_tolerance(solved, answers),
        *_rough(solved),
    ]


def in_short(found: Sequence[Finding]) -> list[Entry]:
    """Take what is strong enough for the summary.

    Parameters
    ----------
    found : sequence of Finding
        All findings.

    Returns
    -------
    list of Entry
        Subject and one sentence each.
    """
    return [(one.subject, f"{one.headline}.") for one in found if one.headline]


def changes_of(build: BuildDamping, found: BuildDamping) -> list[tuple[float, float]]:
    """Return the change of force [%] at each velocity [m/s] of the curve, without the standstill."""
    own, before = build.curve, found.curve
    return [
        (velocity, moved)
        for velocity, force, against in zip(own.velocities, own.forces, before.forces, strict=True)
        if (moved := change(force, against)) is not None
    ]


def change_runs(changes: Sequence[tuple[float, float]]) -> list[Run]:
    """Part the velocities by whether a build is softer, firmer or as found there.

    Parameters
    ----------
    changes : sequence of (velocity, percent)
        Change of force [%] at rising velocities [m/s].

    Returns
    -------
    list of Run
        Rising, without gaps; a change of less than 3 % counts as none.

    Examples
    --------
    >>> [(run.sign, round(run.start, 2), round(run.end, 2)) for run in change_runs(
    ...     [(0.1, 0.0), (0.2, -1.0), (0.4, -5.0), (1.0, -6.0)])]
    [(0, 0.1, 0.3), (-1, 0.3, 1.0)]
    """
    signs = [0 if abs(moved) < LITTLE else (1 if moved > 0 else -1) for _, moved in changes]
    for index in range(1, len(signs) - 1):
        # One point that differs from two equal neighbours is no range worth a sentence.
        if signs[index - 1] == signs[index + 1] and abs(changes[index][1]) < 2 * LITTLE:
            signs[index] = signs[index - 1]
    runs: list[Run] = []
    start = changes[0][0] if changes else 0.0
    points = zip(signs, changes, strict=True)
    grouped = [
        (sign, [point for _, point in group]) for sign, group in itertools.groupby(points, lambda p: p[0])
    ]
    for index, (sign, within) in enumerate(grouped):
        end = _crossing(within[-1], grouped[index + 1][1][0]) if index + 1 < len(grouped) else within[-1][0]
        runs.append(Run(sign, start, end, tuple(within)))
        start = end
    return runs


def _crossing(before: tuple[float, float], after: tuple[float, float]) -> float:
    """Velocity between two points at which the change passes what counts as none."""
    (x0, y0), (x1, y1) = before, after
    level = LITTLE if max(abs(y0), abs(y1)) >= LITTLE else 0.0
    size0, size1 = abs(y0), abs(y1)
    if y0 * y1 < 0 or size0 == size1 or not min(size0, size1) <= level <= max(size0, size1):
        return (x0 + x1) / 2
    return x0 + (x1 - x0) * (level - size0) / (size1 - size0)


def _against(build: BuildDamping, found: BuildDamping, answers: DampingAnswers) -> list[Finding]:
    runs = change_runs(changes_of(build, found))
    if not runs:
        return []
    slowest = answers.velocities[0]
    # A quiet range far below the table is true, and nobody can feel it.
    told = {run.start: _run(run, runs) for run in runs if run.sign or run.end >= slowest / 2}
    moved = [told[run.start] for run in runs if run.sign]
    headline = "; ".join(moved or told.values())
    first = runs[0]
    if not first.sign and first.start in told and build.slow is not None and build.slow.shims < 0.5:
        # What carries most at the slowest of the table does so below it all the more.
        told[first.start] += f", as {_who(build.slow)} of the oil at {slowest:g} m/s"
    sentences = list(told.values())
    if moved and _within_band(build, found):
        same = f"all of it lies within what {_micrometres(answers.tolerance)} on every shim make"
        sentences.append(same)
        headline = f"{headline}; {same}"
    if build.clicks != found.clicks:
        dial = f"with the adjuster {_clicks(build.clicks)} open, as found {found.clicks:g}"
        sentences.append(f"reckoned {dial}, which is part of the change")
        headline = f"{headline} ({dial})"
    return [Finding(f"{build.label}, damping:", tuple(sentences), headline)]


def _run(run: Run, runs: Sequence[Run]) -> str:
    if len(runs) == 1:
        where = f"up to {_velocity(run.end)}"
    elif run is runs[0]:
        where = f"below {_velocity(run.end)}"
    elif run is runs[-1]:
        where = f"above {_velocity(run.start)}"
    else:
        where = f"between {_number(run.start)} and {_velocity(run.end)}"
    if run.sign == 0:
        return f"{where} nothing changes (less than {LITTLE:g} %)"
    way = "softer" if run.sign < 0 else "firmer"
    sizes = [abs(moved) for _, moved in run.changes]
    if max(sizes) - min(sizes) < LITTLE:
        return f"{where} it is about {(max(sizes) + min(sizes)) / 2:.0f} % {way}"
    most = max(run.changes, key=lambda point: abs(point[1]))
    if most == run.changes[0] and run is runs[0]:
        return f"{where} it is up to {abs(most[1]):.0f} % {way}"
    # At its far end a range in the middle passes into the next one: only the last one has an end to tell.
    end = run.changes[-1]
    rest = f", {abs(end[1]):.0f} % at {_velocity(end[0])}" if run is runs[-1] and end != most else ""
    return f"{where} it is {way}: {abs(most[1]):.0f} % at {_velocity(most[0])}{rest}"


def _as_it_is(build: BuildDamping, answers: DampingAnswers) -> list[Finding]:
    sentences: list[str] = []
    slow, fast, numbers = build.slow, build.fast, build.summary
    if slow is not None and (who := _who(slow)):
        sentences.append(f"at {answers.velocities[0]:g} m/s {who} of the oil")
    if numbers.knee_velocity is not None:
        sentences.append(
            f"from {_velocity(numbers.knee_velocity)} ({figure(numbers.knee_force)} N) on more than half "
            "of it goes under the shims, and they decide"
        )
    if fast is not None and (who := _who(fast)):
        sentences.append(f"at {answers.velocities[-1]:g} m/s {who} of it")
    if numbers.opening_pressure:
        sentences.append(f"the shims stay shut until {figure(numbers.opening_pressure)} bar")
    return [Finding(f"{build.label}, damping:", tuple(sentences))] if sentences else []


def _who(shares: Shares) -> str:
    """The paths that carry a good part of the oil, largest first, with a verb."""
    parts = sorted(((getattr(shares, name), words) for name, words in _PATHS.items()), reverse=True)
    named = [f"{words} ({100 * part:.0f} %)" for part, words in parts if part >= DECIDES]
    verb = "carries" if len(named) == 1 and "shims" not in named[0] else "carry"
    return f"{_and(named)} {verb} most" if named else ""


def _dial(builds: Sequence[BuildDamping], answers: DampingAnswers) -> list[Finding]:
    told: dict[str, list[str]] = {}
    for build in builds:
        if len(build.dial) > 1:
            told.setdefault(_works(build), []).append(build.label)
    if not told:
        return []
    everyone = len(told) == 1
    sentences = [
        sentence if everyone else f"{_and(list(map(_quoted, labels)))}: {sentence}"
        for sentence, labels in told.items()
    ]
    opened = [build for build in builds if len(build.dial) > 1 and build.dial_fast is not None]
    slow = [change(build.dial[-1][1], build.dial[0][1]) for build in opened]
    fast = [change(build.dial_fast[1], build.dial_fast[0]) for build in opened if build.dial_fast]
    if opened:
        sentences.append(
            f"from fully closed to fully open it takes {_span(slow)} % off the force at "
            f"{DIAL_VELOCITY:g} m/s, and {_span(fast)} % at {answers.velocities[-1]:g} m/s"
        )
    return [Finding("Dial:", tuple(sentences))]


def _works(build: BuildDamping) -> str:
    felt = [
        click
        for (_, before), (click, after) in itertools.pairwise(build.dial)
        if abs(change(after, before) or 0.0) >= FELT
    ]
    last = build.dial[-1][0]
    if not felt:
        return f"no click changes the force at {DIAL_VELOCITY:g} m/s by {FELT:g} % or more"
    reach = f"from click {felt[0]:g} to {felt[-1]:g}" + ("" if felt[-1] == last else f" of {last:g}")
    return f"it works {reach} (a click changes the force at {DIAL_VELOCITY:g} m/s by {FELT:g} % or more)"


def _cavitation(builds: Sequence[BuildDamping], answers: DampingAnswers) -> list[Finding]:
    careful = "reckoned with the reservoir's pressure alone, as if no base valve helped the piston"
    fastest = answers.velocities[-1]
    jets = [(build.label, build.cavitates_from) for build in builds if build.cavitates_from is not None]
    if jets:
        listed = _and([f"{_velocity(start)} ({_quoted(label)})" for label, start in jets])
        sentences = [
            f"the jets cavitate from about {listed} on, where the force is uncertain and the oil foams",
            *([careful] if answers.has_rod else []),
        ]
        starts = [start for _, start in jets]
        low, high = f"{min(starts):.2g}", f"{max(starts):.2g}"
        span = f"{low} m/s on" if low == high else f"{low} to {high} m/s on, depending on the build"
        first = f"the jets cavitate from about {span}; there the force is uncertain and the oil foams"
        return [Finding("Cavitation:", tuple(sentences), "; ".join([first, *sentences[1:]]))]
    margins = [
        (build.label, build.margins[-1], build.rest_margin)
        for build in builds
        if build.margins and build.margins[-1] is not None and build.rest_margin
    ]
    thin = [
        (label, left, rest) for label, left, rest in margins if left is not None and left < THIN * (rest or 0)
    ]
    if thin:
        listed = _and([f"{figure(left, 2)} bar ({_quoted(label)})" for label, left, _ in thin])
        sentence = (
            f"the margin at {fastest:g} m/s is thin: {listed} of {figure(thin[0][2], 2)} bar at standstill"
        )
        return [Finding("Cavitation:", (sentence,), sentence)]
    least = min((left for _, left, _ in margins if left is not None), default=None)
    if least is None:
        return []
    return [Finding("Cavitation:", (f"at {fastest:g} m/s at least {figure(least, 2)} bar are left",))]


def _tolerance(builds: Sequence[BuildDamping], answers: DampingAnswers) -> list[Finding]:
    build = builds[0] if builds else None
    if build is None or not build.curve.low:
        return []
    curve = build.curve
    points = zip(curve.velocities, curve.forces, curve.low, curve.high, strict=True)
    spans = [
        (velocity, change(low, force) or 0.0, change(high, force) or 0.0)
        for velocity, force, low, high in points
        if force > 0
    ]
    at, down, up = max(spans, key=lambda span: span[2] - span[1])
    sentence = (
        f"{_micrometres(answers.tolerance)} on every shim make the force of {_quoted(build.label)} up to "
        f"{abs(down):.0f} % lower or {up:.0f} % higher (at {_velocity(at)}); smaller differences between "
        "builds say little"
    )
    return [Finding("Tolerance:", (sentence,))]


def _rough(builds: Sequence[BuildDamping]) -> list[Finding]:
    limited = [
        f"{_velocity(build.limit)} ({_quoted(build.label)})" for build in builds if build.limit is not None
    ]
    if not limited:
        return []
    sentence = (
        f"above {_and(limited)} a shim lifts more than twice its thickness, and the force is a trend only"
    )
    return [Finding("Beyond the axisymmetric range:", (sentence,))]


def _within_band(build: BuildDamping, found: BuildDamping) -> bool:
    band = found.curve
    return bool(band.low) and all(
        low <= force <= high for force, low, high in zip(build.curve.forces, band.low, band.high, strict=True)
    )


def _velocity(value: float) -> str:
    return f"{_number(value)} m/s"


def _number(value: float) -> str:
    # The points of the curve stand too far apart for more digits.
    return f"{value:.{1 if value < 0.1 else 2}g}"


def _micrometres(tolerance: float) -> str:
    return f"±{1000 * tolerance:g} µm"


def _clicks(count: float) -> str:
    return f"{count:g} {'click' if count == 1 else 'clicks'}"


def _span(changes: Sequence[float | None]) -> str:
    """Smallest and largest loss of force in percent, as one number where they are the same."""
    losses = sorted(-moved for moved in changes if moved is not None)
    low, high = f"{losses[0]:.0f}", f"{losses[-1]:.0f}"
    return low if low == high else f"{low} to {high}"


def _quoted(label: str) -> str:
    return f"“{label}”"


def _and(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
