"""The axes of a picture: which numbers they show, where on the picture these lie, which ticks they bear."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt

from reviewkit.metrology import formatting

Floats = npt.NDArray[np.float64]
Settings = Mapping[str, Any]


class NotDrawn(ValueError):
    """A figure holds what is drawn by plotly alone."""


def values(given: Any) -> npt.NDArray[Any]:
    """Return the values of a trace: as a list, as an array, or packed as plotly packs an array."""
    if given is None:
        return np.empty(0)
    if isinstance(given, Mapping):
        packed = np.frombuffer(base64.b64decode(given["bdata"]), dtype=np.dtype(given["dtype"]))
        return packed.astype(float)
    found = np.asarray(given)
    if found.dtype.kind in "iufb":
        return found.astype(float)
    if found.dtype.kind == "M":
        return found.astype("datetime64[ms]").astype(float)
    return np.array([math.nan if one is None else one for one in np.atleast_1d(found)], dtype=object)


Ticks = tuple[tuple[float, str], ...]

_SECOND, _MINUTE, _HOUR, _DAY = 1e3, 6e4, 3.6e6, 8.64e7
_CLOCK = (
    *(_SECOND * step for step in (1, 2, 5, 10, 15, 30)),
    *(_MINUTE * step for step in (1, 2, 5, 10, 15, 30)),
    *(_HOUR * step for step in (1, 2, 3, 6, 12)),
    *(_DAY * step for step in (1, 2, 7, 14, 30, 90, 365)),
)
"""Steps of a clock [ms]."""


def linear_ticks(low: float, high: float, most: int, step: float | None = None) -> Ticks:
    """Return ticks at round numbers.

    Parameters
    ----------
    most : int
        How many there may be.
    step : float, optional
        Their distance, where it is set.

    Examples
    --------
    >>> linear_ticks(0.0, 1.0, 6)
    ((0.0, '0'), (0.2, '0.2'), (0.4, '0.4'), (0.6, '0.6'), (0.8, '0.8'), (1.0, '1'))
    """
    if not high > low:
        return ((low, _written(low, 3)),)
    step = step or _round_step((high - low) / max(most, 1))
    count = range(math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6) + 1)
    decimals = next((n for n in range(9) if abs(round(step, n) - step) < 1e-9 * step), 9)
    return tuple((round(n * step, 12), _written(n * step, decimals)) for n in count)


def _written(value: float, decimals: int) -> str:
    """Return a number without zeros at its end, as every tick beside it."""
    text = f"{abs(value):.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{formatting.MINUS}{text}" if value < 0 and text.strip("0.") else text


def _round_step(least: float) -> float:
    """Return the smallest of 1, 2, 5, 10, 20 … that is not under a distance."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(times * power for times in (1, 2, 5, 10) if times * power >= least * (1 - 1e-9))


def log_ticks(low: float, high: float, most: int) -> Ticks:
    """Return ticks of a log scale from and to powers of ten; their places are logarithms."""
    decades = [float(n) for n in range(math.ceil(low - 1e-9), math.floor(high + 1e-9) + 1)]
    every = max(1, math.ceil(len(decades) / max(most, 1)))
    if len(decades) >= 3:
        return tuple((position, f"{10**position:g}") for position in decades[::every])
    values = [
        times * 10**power for power in range(math.floor(low), math.ceil(high) + 1) for times in (1, 2, 5)
    ]
    inside = [(math.log10(value), f"{value:g}") for value in values if low <= math.log10(value) <= high]
    return tuple(inside)


def clock_ticks(low: float, high: float, most: int, written: str = "") -> Ticks:
    """Return ticks at round times.

    Parameters
    ----------
    low, high : float [ms]
    written : str
        As in plotly's `tickformat`: "%-H:%M". Default: the date, or the time of day.
    """
    least = (high - low) / max(most, 1)
    step = next((step for step in _CLOCK if step >= least), _CLOCK[-1])
    written = written or ("%-d %b" if step >= _DAY else "%-H:%M")
    places = np.arange(math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6) + 1) * step
    return tuple((float(position), moment(float(position), written)) for position in places)


def moment(place_ms: float, written: str) -> str:
    """Return a time of a calendar axis as a format says; an hour without its zero on every system."""
    when = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=place_ms)
    parts = {"%-H": f"{when.hour}", "%-M": f"{when.minute}", "%-d": f"{when.day}"}
    for sign, text in parts.items():
        written = written.replace(sign, text)
    return when.strftime(written)


@dataclass(frozen=True)
class Scale:
    """One axis, laid on the picture.

    Parameters
    ----------
    name : str
        As plotly calls it: "x", "y2".
    settings : mapping
        Plotly's, of this axis.
    kind : {"linear", "log", "date", "category"}
    low, high : float
        What it shows; powers of ten on a log scale, milliseconds on a clock.
    start, end : float [px]
        Where `low` and `high` lie.
    names : tuple of str
        Its categories.
    """

    name: str
    settings: Settings
    kind: str
    low: float
    high: float
    start: float = 0.0
    end: float = 1.0
    names: tuple[str, ...] = ()

    def numbers(self, given: Any) -> Floats:
        """Return values of a trace or shape as numbers along the axis."""
        found = np.atleast_1d(values(given))
        if self.kind == "category":
            return np.array([_category(one, self.names) for one in found], dtype=float)
        if found.dtype == object:
            found = _as_numbers(found)
        if self.kind == "log":
            with np.errstate(divide="ignore", invalid="ignore"):
                return np.asarray(np.log10(found))
        return np.asarray(found, dtype=float)

    def at(self, numbers: Floats) -> Floats:
        """Return numbers along the axis as places on the picture [px]."""
        return self.start + (numbers - self.low) * ((self.end - self.start) / (self.high - self.low))

    def spot(self, number: float) -> float:
        """Return one number along the axis as a place on the picture [px]."""
        return self.start + (number - self.low) * (self.end - self.start) / (self.high - self.low)

    def number(self, value: Any) -> float:
        """Return a single value of a trace or shape as a number along the axis."""
        if self.kind in ("linear", "date") and isinstance(value, int | float):
            return float(value)
        return float(self.numbers([value])[0])

    def laid(self, start: float, end: float) -> Scale:
        """Return it laid between two places of the picture [px]."""
        return replace(self, start=start, end=end)

    def noted(self, value: Any) -> float:
        """Return an annotation's coordinate as a number along the axis: on a log scale it is one already."""
        return float(value) if self.kind == "log" else self.number(value)

    @property
    def visible(self) -> bool:
        """Whether it is drawn."""
        return bool(self.settings.get("visible", True))

    @property
    def domain(self) -> tuple[float, float]:
        """Its part of the drawing, as shares from the left or from the foot."""
        first, last = self.settings.get("domain") or (0.0, 1.0)
        return float(first), float(last)

    def ticks(self, most: int) -> Ticks:
        """Return its ticks, not many more than `most`."""
        low, high = sorted((self.low, self.high))
        chosen = self.settings.get("tickvals")
        if chosen is not None:
            given = self.numbers(chosen)
            texts = self.settings.get("ticktext")
            named = texts if texts is not None else [f"{one:g}" for one in given]
            pairs = zip(given.tolist(), map(str, named), strict=False)
            return tuple((position, text) for position, text in pairs if low <= position <= high)
        most = min(most, int(self.settings.get("nticks") or most))
        if self.kind == "category":
            return tuple((float(position), name) for position, name in enumerate(self.names))
        if self.kind == "date":
            return clock_ticks(low, high, most, str(self.settings.get("tickformat") or ""))
        if self.kind == "log":
            return log_ticks(low, high, most)
        step = self.settings.get("dtick")
        usable = isinstance(step, int | float) and (high - low) / step <= 2 * most
        return linear_ticks(low, high, most, float(step) if usable and step else None)


def _category(one: Any, names: Sequence[str]) -> float:
    if isinstance(one, int | float):
        return float(one)
    return float(names.index(str(one))) if str(one) in names else math.nan


def _as_numbers(found: npt.NDArray[Any]) -> Floats:
    try:
        return np.asarray(found, dtype=float)
    except (TypeError, ValueError):
        return np.array(found, dtype="datetime64[ms]").astype(float)


def scales(figure: Settings) -> dict[str, Scale]:
    """Return the axes of a figure by plotly's names: one x axis, and a y axis for each panel.

    Raises
    ------
    NotDrawn
        Where axes lie over each other, or there are several x axes.
    """
    layout = figure["layout"]
    used = {"x", "y"} | {
        str(trace.get(axis) or axis[0]) for trace in figure["data"] for axis in ("xaxis", "yaxis")
    }
    used |= {name.replace("axis", "") for name in layout if name.startswith("yaxis")}
    if any(name.startswith("x") and name != "x" for name in used):
        raise NotDrawn("several x axes")
    return {name: _scale(name, figure) for name in sorted(used)}


def _scale(name: str, figure: Settings) -> Scale:
    settings = figure["layout"].get(f"{name[0]}axis{name[1:]}") or {}
    if settings.get("overlaying") or settings.get("matches"):
        raise NotDrawn("axes over each other")
    traces = [one for one in figure["data"] if str(one.get(f"{name[0]}axis") or name[0]) == name]
    found = [values(one.get(name[0])) for one in traces]
    kind, names = _kind(settings, found)
    plain = Scale(name, settings, kind, 0.0, 1.0, names=names)
    given = settings.get("range")
    low, high = (
        _given(plain, given) if given is not None and None not in given else _range(plain, traces, figure)
    )
    return replace(plain, low=low, high=high)


def _kind(settings: Settings, found: Sequence[npt.NDArray[Any]]) -> tuple[str, tuple[str, ...]]:
    declared = settings.get("type")
    words = [str(one) for part in found if part.dtype == object for one in part if isinstance(one, str)]
    if declared in ("linear", "log", "date") or not words:
        return str(declared or "linear"), ()
    if declared != "category":
        try:
            np.array(words, dtype="datetime64[ms]")
        except ValueError:
            pass
        else:
            return "date", ()
    return "category", tuple(dict.fromkeys(words))


def _given(scale: Scale, given: Sequence[Any]) -> tuple[float, float]:
    # The ends of a log scale are powers already, those of a clock may be dates.
    ends = [float(one) if not isinstance(one, str) else float(scale.numbers([one])[0]) for one in given]
    return ends[0], ends[1] if ends[1] != ends[0] else ends[0] + 1.0


def _range(scale: Scale, traces: Sequence[Settings], figure: Settings) -> tuple[float, float]:
    """Return what an axis shows that says no range: all its traces, error bars and shapes, with some room."""
    axis = scale.name[0]
    parts = [scale.numbers(end) for trace in traces for end in _ends(trace, axis)]
    refers = [
        one for one in figure["layout"].get("shapes") or () if one.get(f"{axis}ref", axis) == scale.name
    ]
    parts += [scale.numbers([one.get(f"{axis}0"), one.get(f"{axis}1")]) for one in refers]
    known = np.concatenate([part[np.isfinite(part)] for part in parts]) if parts else np.empty(0)
    if scale.kind == "category":
        return -0.5, max(len(scale.names), 1) - 0.5
    if not len(known):
        return 0.0, 1.0
    low, high = float(known.min()), float(known.max())
    along = any(trace.get("type") == "bar" and _is_length(trace, axis) for trace in traces)
    to_zero = scale.settings.get("rangemode") == "tozero" or along
    if to_zero and scale.kind == "linear":
        low, high = min(low, 0.0), max(high, 0.0)
    plain_lines = axis == "x" and all(_is_line(trace) for trace in traces)
    room = 0.0 if plain_lines and high > low else 0.055 * (high - low) or 0.5
    reversed_ = scale.settings.get("autorange") == "reversed"
    ends = (low - room * (not to_zero or low < 0), high + room * (not to_zero or high > 0))
    return ends[::-1] if reversed_ else ends


def _is_line(trace: Settings) -> bool:
    return str(trace.get("type") or "scatter").startswith("scatter") and trace.get("mode", "lines") == "lines"


def _is_length(trace: Settings, axis: str) -> bool:
    return (trace.get("orientation") == "h") == (axis == "x")


def _ends(trace: Settings, axis: str) -> list[Any]:
    """Return a trace's values along an axis, and the ends of its error bars."""
    middle = values(trace.get(axis))
    error = trace.get(f"error_{axis}")
    if trace.get("type") == "bar" and not _is_length(trace, axis) and middle.dtype != object:
        half = float(trace.get("width") or 0.8) / 2
        return [middle - half, middle + half]
    if not error or middle.dtype == object:
        return [middle]
    below, above = error_lengths(error, middle)
    return [middle, middle - below, middle + above]


def error_lengths(error: Settings, middle: Floats) -> tuple[Floats, Floats]:
    """Return how far error bars reach below and above their values.

    Raises
    ------
    NotDrawn
        For another kind than a constant and lengths of their own.
    """
    kind = error.get("type", "data" if error.get("array") is not None else "percent")
    if error.get("visible") is False:
        return np.zeros(len(middle)), np.zeros(len(middle))
    if kind == "constant":
        above = np.full(len(middle), float(error["value"]))
        return above, above
    if kind != "data":
        raise NotDrawn(f"error bars of the kind {kind}")
    above = values(error.get("array"))
    one_sided = error.get("symmetric") is False and error.get("arrayminus") is not None
    return (values(error["arrayminus"]) if one_sided else above), above
