"""Waves from CSV: the numbers of a laid-out file, checked, scaled and made into channels."""

from __future__ import annotations

import io
import math
import warnings
from array import array
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.signals.wave import HIGH, LOW, Capture, Channel, Floats, Trace, Wave
from coppermend.formats.waves.layout import REMEDY, Layout, is_time, layout_of, numeric, split
from coppermend.formats.waves.rows import quick_rows
from coppermend.formats.waves.units import SECONDS, VOLTS, known

MOST_NUMBERS = 20_000_000
MOST_SHOWN = 20
BAD_SHARE = 0.5
"""More rows than this that cannot be read: it is no table of samples (an assumption)."""


def read_table(text: bytes, name: str = "", step_s: float | None = None) -> Capture:
    """The channels of a CSV file. ``step_s`` tells the time between samples where the file does not.

    Refusals WAV-002 to WAV-009: no data, too much, too many columns, ambiguous commas, time going back, no time base, nothing but unreadable rows.

    >>> c = read_table(b"Time (us),CH1 (mV)\\n0,0\\n1,500\\n2,1000\\n")
    >>> c.channels[0].name, c.channels[0].values.tolist(), round(c.channels[0].step_s, 12)
    ('CH1', [0.0, 0.5, 1.0], 1e-06)
    """
    made = layout_of(text, name)
    numbers = _numbers(text, made, name)
    _scale(made, numbers)
    numbers, times, start, step = _time_base(made, numbers, name, step_s)
    step_u = _step_u(made, numbers) if times is None else 0.0
    channels = tuple(replace(one, step_u=step_u) for one in _channels(made, numbers, times, start, step, name))
    if not channels:
        raise refuse("WAV-002", "No channel with numbers beside the time.", REMEDY, Place(file=name))
    sign = {",": "commas", ";": "semicolons", "\t": "tabs", " ": "blanks"}[made.separator]
    how = f"columns by {sign}" + (", decimal commas" if made.comma or made.joined else "")
    words = f"table, {how}, {numbers.shape[0]} rows, {len(channels)} channels, " + (
        f"a sample each {step:.6g} s" if times is None else "at stated times"
    )
    return Capture(channels, words, tuple(made.findings[:MOST_SHOWN]), name)


# ---- numbers ----
def _numbers(text: bytes, made: Layout, name: str) -> Floats:
    """The table as (rows, columns); NaN where a cell holds no number."""
    body = text[made.begin :]
    if body.count(b"\n") * len(made.columns) > MOST_NUMBERS:
        raise refuse(
            "WAV-003",
            f"The file holds more than {MOST_NUMBERS} numbers.",
            "Save a shorter record or fewer channels.",
            Place(file=name),
        )
    if not made.joined:
        found = quick_rows(body, made.separator, made.comma, made.columns)
        if found is None:
            found = _by_library(body, made)
        if found is not None:
            return found
    return _by_row(body, made, name)


def _by_library(body: bytes, made: Layout) -> Floats | None:
    """All rows at once; None when one of them is not as the others."""
    plain = body.replace(b",", b".") if made.comma else body
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            found = np.loadtxt(
                io.BytesIO(plain),
                delimiter=None if made.separator == " " else made.separator,
                usecols=made.columns,
                ndmin=2,
                comments=None,
                dtype=np.float64,
            )
    except (ValueError, IndexError, UserWarning, OverflowError):
        return None
    return found


def _by_row(body: bytes, made: Layout, name: str) -> Floats:
    """Row by row: cells that are no number become NaN, rows of another form are left out, and both are said."""
    numbers = array("d")
    strange = first_strange = total = 0
    for number, raw in enumerate(io.BytesIO(body), made.line):
        line = raw.decode("utf-8", "replace").rstrip("\r\n")
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        total += 1
        values = _values(line, made)
        if values is None:
            strange += 1
            first_strange = first_strange or number
            continue
        numbers.extend(values)
    if not numbers or strange > BAD_SHARE * total:
        raise refuse(
            "WAV-009",
            f"{strange} of {total} rows cannot be read as numbers.",
            REMEDY,
            Place(file=name, line=first_strange or None),
        )
    if strange:
        made.findings.append(
            Finding(
                "WAV-015",
                Severity.WARNING,
                Place(file=name, line=first_strange),
                f"{strange} rows are not as the others; they are left out.",
                "See whether the file is cut off or edited.",
            )
        )
    return np.frombuffer(numbers, np.float64).reshape(-1, len(made.names)).copy()


def _values(line: str, made: Layout) -> list[float] | None:
    cells = split(line, made.separator, made.comma)
    if made.joined:
        cells = [f"{a}.{b}" for a, b in zip(cells[::2], cells[1::2], strict=False)]
        mine = cells if len(cells) == len(made.names) else None
    else:
        mine = [cells[k] for k in made.columns] if len(cells) > made.columns[-1] else None
    if mine is None or not any(numeric(one) for one in mine):
        return None
    return [_float(one) for one in mine]


def _float(cell: str) -> float:
    try:
        value = float(cell) if "_" not in cell else np.nan
    except ValueError:
        return float("nan")
    return value if abs(value) < 9.8e37 else float("nan")


# ---- scales and times ----
def _scale(made: Layout, numbers: Floats) -> None:
    numbers[~np.isfinite(numbers) | (np.abs(numbers) > 9.8e37)] = np.nan
    for k, unit in enumerate(made.units):
        factor = SECONDS.get(unit.lower(), 1.0) if k == made.time else VOLTS.get(unit.lower(), 1.0)
        if factor != 1.0:
            numbers[:, k] *= factor


Base = tuple[Floats, Floats | None, float, float]


def _time_base(made: Layout, numbers: Floats, name: str, told_s: float | None) -> Base:
    """(rows kept, times or None where they are even, start, step)."""
    step = told_s or made.step_s
    if made.time is None or made.index or (made.counted and step is not None):
        if step is None:
            raise refuse(
                "WAV-017",
                "The file tells no time between samples.",
                "Say it: --step 1e-8 (seconds); or save it with a time column.",
                Place(file=name),
            )
        return numbers, None, made.start_s or 0.0, step
    if made.counted:
        made.findings.append(
            Finding(
                "WAV-007",
                Severity.GUESS,
                Place(file=name),
                "The time column counts by one and names no unit; read as seconds.",
                "Say the time between samples: --step 1e-8.",
            )
        )
    fine = np.isfinite(numbers[:, made.time])
    rows = numbers if fine.all() else numbers[fine]
    times = np.ascontiguousarray(rows[:, made.time])
    if times.size < 2:
        raise refuse("WAV-002", f"{times.size} rows with a time; at least 2 are needed.", REMEDY, Place(file=name))
    gaps = np.diff(times)
    least, most = float(gaps.min()), float(gaps.max())
    if least < 0:
        at = int(np.argmin(gaps))
        raise refuse(
            "WAV-006",
            f"Time goes back from {times[at]:.9g} to {times[at + 1]:.9g} s in data row {at + 2}.",
            "The file is damaged, or holds several records; save them one by one.",
            Place(file=name, line=made.line + at + 1),
        )
    if most <= 0:
        raise refuse(
            "WAV-006",
            "Time stands still: all rows have the same time.",
            "Save it with more digits in the time column.",
            Place(file=name),
        )
    even = float(times[-1] - times[0]) / (times.size - 1)
    off = float(np.max(np.abs(times - times[0] - even * np.arange(times.size))))
    if off <= 1e-3 * even or (off <= 0.51 * even and most < 2.1 * even and times.size > 8):
        return rows, None, float(times[0]), even
    if least == 0 and off <= 1.01 * most and times.size > 8:
        made.findings.append(
            Finding(
                "WAV-018",
                Severity.GUESS,
                Place(file=name),
                "Times are printed too coarsely and repeat; an even step from first to last is taken.",
                "Save it with more digits in the time column.",
            )
        )
        return rows, None, float(times[0]), even
    return rows, times, float(times[0]), even


def _step_u(made: Layout, numbers: Floats) -> float:
    """Relative standard uncertainty of an even step that was taken from printed times: first and last time are rounded, each evenly within half its last digit
    (rectangular distribution, GUM: q / sqrt(12)). The digit shows in the gaps: times that repeat go up by it, others' gaps differ by it.
    """
    if made.time is None or made.index or made.counted:
        return 0.0
    times = numbers[:, made.time]
    times = times[np.isfinite(times)]
    gaps = np.diff(times)
    if gaps.size < 8:
        return 0.0
    part = max(8, gaps.size // 10)
    digits = []
    for some in (gaps[:part], gaps[-part:]):
        moving = some[some > 0]
        least = float(moving.min()) if moving.size else 0.0
        digits.append(least if float(some.min()) <= 0 else float(some.max()) - least)
    return math.hypot(*digits) / (math.sqrt(12.0) * float(times[-1] - times[0]))


# ---- channels ----
def _channels(
    made: Layout, numbers: Floats, times: Floats | None, start: float, step: float, name: str
) -> Iterator[Channel]:
    taken: list[str] = []
    for k in range(len(made.names)):
        if k == made.time or _second_time(made, numbers, k, name):
            continue
        label, unit = _own_name(made.names[k] or f"CH{len(taken) + 1}", taken), made.units[k]
        taken.append(label)
        values = np.ascontiguousarray(numbers[:, k])
        fine = np.isfinite(values)
        if not fine.any():
            made.findings.append(
                Finding("WAV-016", Severity.WARNING, Place(file=name, thing=label), "The channel holds no number.", "")
            )
            continue
        seconds = times
        if not fine.all():
            every: Floats = np.asarray(start + step * np.arange(values.size)) if times is None else times
            values, seconds = values[fine], every[fine]
            _say_holes(made, name, int((~fine).sum()))
        yield _channel(label, unit, values, seconds, start, step)


def _own_name(label: str, taken: list[str]) -> str:
    """A name that no channel has yet."""
    same = sum(one == label or one.startswith(f"{label} (") for one in taken)
    return label if not same else f"{label} ({same + 1})"


def _second_time(made: Layout, numbers: Floats, k: int, name: str) -> bool:
    """Whether this is the time column once more, as some instruments write it before each channel; said where it differs from the first."""
    if made.time is None or made.headless or not is_time(made.names[k], made.units[k]):
        return False
    again = numbers[:, k] * SECONDS.get(made.units[k].lower(), 1.0)
    if not np.array_equal(again, numbers[:, made.time], equal_nan=True):
        made.findings.append(
            Finding(
                "WAV-019",
                Severity.WARNING,
                Place(file=name),
                f"{made.names[k] or 'another column'}: a second time that differs from the first; left out.",
                "Save the channels one by one if their times differ.",
            )
        )
    return True


def _say_holes(made: Layout, name: str, many: int) -> None:
    made.findings.append(
        Finding(
            "WAV-016",
            Severity.WARNING,
            Place(file=name),
            f"{many} cells hold no number (overload, NaN); these samples are left out.",
            "Set a wider vertical range and record again.",
        )
    )


def _channel(label: str, unit: str, values: Floats, times: Floats | None, start: float, step: float) -> Channel:
    """A trace where all values are 0 or 1 without a unit, else a wave."""
    if not known(unit) and unit == "" and bool(np.all((values == 0.0) | (values == 1.0))):
        at = start + step * np.arange(values.size) if times is None else times
        new = np.concatenate([[True], values[1:] != values[:-1]])
        levels = np.where(values[new] > 0.5, HIGH, LOW).astype(np.int8)
        return Trace(label, at[new], levels, float(at[-1]), step)
    return Wave(
        label,
        "V" if unit.lower() in VOLTS or unit == "" else unit,
        values,
        start if times is None else float(times[0]),
        step,
        times,
    )
