"""Findings in plain words: what the numbers of a job mean for the person who rides or builds.

Nothing is computed here but differences in percent of numbers that stand in the
report as well.
"""

from __future__ import annotations

from collections.abc import Sequence

from dampcell.workbooks.answers import OilAnswers, StackAnswers
from dampcell.workbooks.record import Dial, Oil

__all__ = [
    "change",
    "dial_findings",
    "figure",
    "joined",
    "oil_findings",
    "percent",
    "stack_findings",
    "stack_remarks",
]

HIGH_STRESS = 0.8
"""Share of the endurance limit from which on a finding warns [-]; our own choice, no source."""

LITTLE = 3.0
"""Difference below which two builds are called equal [%]: less than shims of one packet differ."""


def figure(value: float | None, digits: int = 3) -> str:
    """Write a number with so many significant digits, never with an exponent.

    Parameters
    ----------
    value : float, optional
        The number; None gives a dash.
    digits : int
        Significant digits; whole digits are never dropped.

    Returns
    -------
    text

    Examples
    --------
    >>> figure(0.12345), figure(1234.5), figure(-20.0), figure(None), figure(0.0)
    ('0.123', '1234', '−20.0', '–', '0')
    """
    if value is None:
        return "–"
    if value == 0:
        return "0"
    # The exponent after rounding: 9.996 with three digits is 10.0, not 10.00.
    exponent = int(f"{value:.{digits - 1}e}".split("e")[1])
    return f"{value:.{max(digits - 1 - exponent, 0)}f}".replace("-", "−")


def change(value: float | None, baseline: float | None) -> float | None:
    """Return the difference from a baseline [%], or None where there is none to compare with."""
    if value is None or baseline is None or baseline == 0:
        return None
    return 100.0 * (value / baseline - 1.0)


def percent(difference: float | None) -> str:
    """Write a difference in percent with its sign; None gives a dash."""
    if difference is None:
        return "–"
    whole = round(difference)
    return "±0" if whole == 0 else f"{whole:+d}".replace("-", "−")


Entry = tuple[str, str]
"""A finding: of what it speaks, and its sentences."""


def stack_findings(stacks: Sequence[StackAnswers], reference_load: float, maximum_load: float) -> list[Entry]:
    """Say what each stack does, and how it differs from the one as found.

    Parameters
    ----------
    stacks : sequence of StackAnswers
        The one as found first.
    reference_load : float
        Load at which builds are compared [N].
    maximum_load : float
        Load at which the stress is judged [N].

    Returns
    -------
    list of Entry
        One for each stack of which there is something to say.
    """
    entries: list[Entry] = []
    for stack in stacks:
        if stack.problem:
            sentences = [f"cannot be computed: {stack.problem}"]
        else:
            found = stacks[0]
            sentences = _opening(stack) if stack is found else _against(stack, found, reference_load)
        if sentences:
            entries.append((f"{stack.label}:", joined(sentences)))
    return [*entries, *_stress(stacks, maximum_load), *_range(stacks)]


def lift_change(stack: StackAnswers, found: StackAnswers, load: float) -> float | None:
    """Return the difference of the lifts at a load [%], or None where one of the two is still shut."""
    if stack.is_shut(load) or found.is_shut(load):
        return None
    return change(stack.lift.number, found.lift.number)


def _opening(stack: StackAnswers) -> list[str]:
    if not stack.opening.number:
        return []
    return [f"it is pressed on its seat and opens at {figure(stack.opening.number)} N"]


def _against(stack: StackAnswers, found: StackAnswers, load: float) -> list[str]:
    sentences: list[str] = []
    lift, before, name = stack.lift.number, found.lift.number, _small(found.label)
    moved = lift_change(stack, found, load)
    if stack.is_shut(load) and found.is_shut(load):
        sentences.append(f"at {load:g} N it is still shut, as {name} is")
    elif stack.is_shut(load):
        sentences.append(f"firmer; at {load:g} N it is still shut, where {name} lifts {figure(before)} mm")
    elif found.is_shut(load):
        sentences.append(f"softer; at {load:g} N it lifts {figure(lift)} mm, where {name} is still shut")
    elif moved is not None and lift is not None and before:
        if abs(moved) < LITTLE:
            sentences.append(f"at {load:g} N it lifts as far as {name}, {figure(lift)} mm")
        else:
            feel = "softer" if moved > 0 else "firmer"
            much = _how_much(moved, lift / before)
            sentences.append(
                f"{feel}; at {load:g} N it lifts {figure(lift)} mm, {much} {name} ({figure(before)} mm)"
            )
    opening, was = stack.opening.number, found.opening.number
    if opening == 0 and was:
        sentences.append("nothing presses it on its seat any more, so it opens from the first load on")
    elif opening and was and abs(change(opening, was) or 0.0) >= LITTLE:
        sentences.append(f"it opens at {figure(opening)} N ({name} at {figure(was)} N)")
    elif opening and was == 0:
        sentences.append(f"it is pressed on its seat and opens at {figure(opening)} N ({name} opens at once)")
    return sentences


def _how_much(moved: float, ratio: float) -> str:
    if moved > 100.0:
        return f"{figure(ratio, 2)} times as far as"
    return f"{figure(abs(moved), 2)} % {'further' if moved > 0 else 'less'} than"


def _stress(stacks: Sequence[StackAnswers], maximum_load: float) -> list[Entry]:
    ratios = [(stack, stack.stress_ratio) for stack in stacks]
    high = [(stack, ratio) for stack, ratio in ratios if ratio is not None and ratio >= HIGH_STRESS]
    if not high:
        return []
    listed = ", ".join(f"{_in_list(stack)} {figure(100 * ratio, 2)} %" for stack, ratio in high)
    over = any(ratio >= 1.0 for _, ratio in high)
    meaning = "above 100 % a shim will crack with time" if over else "that leaves little reserve"
    load = f"at {maximum_load:g} N the worst shim bears, against its endurance limit"
    return [("Stress:", f"{load}, {listed}; {meaning}.")]


def _range(stacks: Sequence[StackAnswers]) -> list[Entry]:
    limited = [
        f"{_in_list(stack)} above {figure(stack.limit, 2)} N" for stack in stacks if stack.limit is not None
    ]
    if not limited:
        return []
    return [
        (
            "Beyond the axisymmetric range:",
            f"{', '.join(limited)}: a shim lifts more than twice its thickness there, and lifts are rough.",
        )
    ]


def _in_list(stack: StackAnswers) -> str:
    return f"“{stack.label}”"


def stack_remarks(stacks: Sequence[StackAnswers]) -> list[Entry]:
    """Repeat what the functions remark on each build, such as gaps and rings.

    Parameters
    ----------
    stacks : sequence of StackAnswers
        All stacks of the report.

    Returns
    -------
    list of Entry
        One for each stack with a remark.
    """
    return [(f"{stack.label}:", joined(stack.checks)) for stack in stacks if stack.checks]


def oil_findings(oil: Oil, answers: OilAnswers) -> list[Entry]:
    """Say what the oil really is, against what its bottle says.

    Parameters
    ----------
    oil : Oil
        Data of the bottle.
    answers : OilAnswers
        What the data mean.

    Returns
    -------
    list of Entry
        At most one.
    """
    sentences: list[str] = []
    if oil.viscosity_40 is not None:
        says = f"the bottle says “{oil.oil_label}”, which is no standard; by" if oil.oil_label else "by"
        sentences.append(f"{says} its data it has {figure(oil.viscosity_40)} mm²/s at 40 °C")
    if answers.working.number is not None and oil.working_temperature is not None:
        sentences.append(
            f"at the working temperature of {oil.working_temperature:g} °C it has "
            f"{figure(answers.working.number)} mm²/s"
        )
    low, high = label_range(answers)
    if low is not None and high is not None and oil.viscosity_40 is not None:
        place = "within" if low <= oil.viscosity_40 <= high else "outside"
        sentences.append(
            f"bottles with this label typically hold {low:g} to {high:g} mm²/s at 40 °C (common "
            "practice, no source): "
            f"this one is {place} that"
        )
    for answer in (answers.index, answers.grade, answers.working, answers.density):
        sentences.extend(
            [answer.sentence] if answer.sentence and answer is not answers.density else answer.notes
        )
    return [("Oil:", joined(list(dict.fromkeys(sentences))))] if sentences else []


def dial_findings(dials: Sequence[Dial]) -> list[Entry]:
    """Say which dials were moved, and which way.

    Parameters
    ----------
    dials : sequence of Dial
        Clicks from fully closed.

    Returns
    -------
    list of Entry
        One for each dial that was counted before and after.
    """
    entries: list[Entry] = []
    for dial in dials:
        if dial.as_found is None or dial.as_left is None:
            continue
        moved = dial.as_left - dial.as_found
        name = f"{dial.adjuster[:1].upper()}{dial.adjuster[1:]} dial:"
        if moved == 0:
            entries.append((name, f"left as found, {dial.as_found:g} clicks from closed."))
        else:
            clicks = f"{abs(moved):g} {'click' if abs(moved) == 1 else 'clicks'}"
            way = "more open" if moved > 0 else "more closed"
            entries.append(
                (name, f"{clicks} {way}, now {dial.as_left:g} from closed (found at {dial.as_found:g}).")
            )
    return entries


def label_range(answers: OilAnswers) -> tuple[float | None, float | None]:
    """Return lowest and highest viscosity at 40 °C that the label typically hides [mm²/s]."""
    numbers = [cell for row in answers.label.rows for cell in row if isinstance(cell, float)]
    return (min(numbers), max(numbers)) if numbers else (None, None)


def _small(label: str) -> str:
    """A label within a sentence: two "as" would meet in "as far as as found"."""
    return "the stack as found" if label.casefold() == "as found" else label


def joined(sentences: Sequence[str]) -> str:
    """Make sentences of them; the first goes on after a colon, so its first letter stays as it is."""
    first, *others = [sentence.rstrip(". ") for sentence in sentences]
    return " ".join(f"{one}." for one in (first, *(other[:1].upper() + other[1:] for other in others)))


__all__ += ["Entry", "label_range", "lift_change"]
