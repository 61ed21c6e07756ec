"""What a light in a film tells: its readings as values, in words and as thumbnails to confirm by eye."""

from __future__ import annotations

import base64
import html
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reviewkit.errors import FilmError
from reviewkit.film import decode, spotting
from reviewkit.film.blinks import Switching, switching
from reviewkit.film.difficulties import Difficulty, recognised
from reviewkit.film.level import measure
from reviewkit.film.moments import moments
from reviewkit.film.one_pass import Observer, Survey, survey
from reviewkit.film.patterns import Reading, read
from reviewkit.film.signals import FlashThreshold, flashing, judge
from reviewkit.film.stills import png
from reviewkit.findings import sentences
from reviewkit.findings.displays import Answer
from reviewkit.metrology import formatting
from reviewkit.schema import quantities
from reviewkit.schema.blocks import BlinkRule
from reviewkit.tables import csv_table

HUES = {"red": 103, "orange": 160, "green": 245, "blue": 330}
"""Angle of the colours that indicators have, between the two colour differences [degree]. BT.709, 3.3, puts
its primaries at 103, 230 and 355; a light brighter than a film can show moves towards its neighbour, by up to
50 where it is twelve times as bright. These are the middles of what rendered lights show."""
BETWEEN = 20.0
"""Nearer than this to the boundary of two colours, both are named [degree]. Chosen: red at twelve times the
brightness that a film can show lies that far beyond its own."""
COLOURED = 12.0
"""Colour differences below this [of 255] are white [1]. Chosen: a tenth of a primary's own."""
_MOST_VALUES, _MOST_OTHERS = 4, 3
_GAP = 3


@dataclass(frozen=True)
class Told:
    """What a light in a film tells.

    Parameters
    ----------
    name : str
        The film's file.
    """

    name: str
    found: Switching
    rule: BlinkRule
    readings: tuple[Reading, ...]

    @cached_property
    def difficulties(self) -> tuple[Difficulty, ...]:
        """What makes the film hard to read, in order of time."""
        return recognised(self.found)

    def shown(self, reading: Reading) -> str:
        """Return the value that a reading stands for; empty where the rule gives none.

        Without a rule two groups are written as a readout table reads them: "3 blinks, pause, 4 blinks".
        """
        if self.rule == BlinkRule() and len(reading.counts) == 2 and max(reading.counts) < 10:
            return ", pause, ".join(f"{count} blink{'s' * (count > 1)}" for count in reading.counts)
        return self.rule.shown(reading.counts)

    def sure(self, reading: Reading) -> bool:
        """Whether the film leaves no other reading, and the rule knows what it stands for."""
        return reading.sure and bool(self.shown(reading) or self.rule == BlinkRule())

    def note(self, reading: Reading) -> str:
        """Return why a reading isn't sure, and what else it could be; empty where it is."""
        if self.sure(reading):
            return ""
        ways = itertools.product(
            *(range(a, b + 1) for a, b in zip(reading.counts, reading.most, strict=True))
        )
        values = [value for value in map(self.rule.shown, itertools.islice(ways, 200)) if value]
        return sentences.of("film")(
            "not_sure",
            counts=[list(pair) for pair in zip(reading.counts, reading.most, strict=True)],
            values=values if len(values) <= _MOST_VALUES else [],
            others=list(map(list, reading.otherwise[:_MOST_OTHERS])),
            why=list(reading.why) or ["rule"],
            at=csv_table.stamp(reading.start_s),
        )

    def colour(self, reading: Reading) -> str:
        """Return what the light looks like, as far as the camera's white tells: "red", "green", "white" …."""
        tint = self.found.level.track.colour
        lit = np.concatenate([np.arange(one.first, one.last + 1) for one in reading.blinks])
        first, last = max(0, reading.blinks[0].first - 12), reading.blinks[-1].last + 12
        dark = np.setdiff1d(np.arange(first, min(last, len(tint))), lit)
        if not len(dark):
            return ""
        blue, red = np.median(tint[lit], axis=0) - np.median(tint[dark], axis=0)
        if math.hypot(blue, red) < COLOURED:
            return "white"
        angle = math.degrees(math.atan2(red, blue)) % 360
        off = {name: abs((angle - hue + 180) % 360 - 180) for name, hue in HUES.items()}
        nearest, second, *_ = sorted(off, key=off.__getitem__)
        if off[second] - off[nearest] > 2 * BETWEEN:
            return nearest
        return " or ".join(name for name in HUES if name in (nearest, second))

    def strip(self, reading: Reading) -> NDArray[np.uint8]:
        """Return thumbnails of each blink and of the gap after it, as grey values; a row for each group."""
        pictures = self.found.level.track.patch
        edge = pictures.shape[1]
        pitch = edge + _GAP
        strip = np.full((len(reading.counts) * pitch, 2 * max(reading.counts) * pitch), 255, np.uint8)
        following = iter(reading.blinks[1:])
        for row, group in enumerate(reading.groups):
            for column, blink in enumerate(group):
                after = next(following, None)
                end = after.first if after else min(blink.last + 4, len(pictures) - 1)
                middles = (blink.first + blink.last) // 2, (blink.last + end + 1) // 2
                for left, at in enumerate(middles, start=2 * column):
                    corner = np.ix_(
                        *(range(k * (edge + _GAP), k * (edge + _GAP) + edge) for k in (row, left))
                    )
                    strip[corner] = pictures[min(at, len(pictures) - 1)]
        return strip[:-_GAP, :-_GAP]

    @property
    def rows(self) -> tuple[tuple[str, ...], ...]:
        """Time in the film, pattern, value, whether it is sure, colour, what else it could be; a row each."""
        return tuple(
            (
                precise(one.start_s),
                one.pattern,
                self.shown(one),
                "yes" if self.sure(one) else "no",
                self.colour(one),
                self.note(one),
            )
            for one in self.readings
        )

    @property
    def answer(self) -> Answer:
        """What was read, in sentences, with the table."""
        say, sure = sentences.of("film"), sum(map(self.sure, self.readings))
        told = [say("read", count=len(self.readings), sure=sure, name=self.name)]
        kinds = dict.fromkeys(one.kind for one in self.difficulties)
        told += [say("seen", kind=kind, times=self._times(kind)) for kind in kinds]
        columns = tuple(say("columns").split(" | "))
        return Answer(tuple(told), columns if self.readings else (), self.rows)

    def _times(self, kind: str) -> list[str]:
        return [csv_table.stamp(max(0.0, one.start_s)) for one in self.difficulties if one.kind == kind][:6]

    @property
    def flashing(self) -> tuple[str, ...]:
        """How fast it flashes, in sentences, with the line for the review file where it has one."""
        say, seen = sentences.of("film"), flashing(self.found)
        rate = seen.rate.text if seen.rate else ""
        image = seen.image_Hz if math.isfinite(seen.image_Hz) else 0.0
        other = 2 / self.found.level.interval_s - image
        if seen.kind == "regular":
            counted = f"flashes: {seen.flashes}, seconds: {seen.seconds:.2f}"
            line = f"{{{counted}, video_frames_per_second: {self._rate:g}}}"
            told = say(
                "rate", rate=rate, flashes=seen.flashes, seconds=seen.seconds, image=image, other=other
            )
            return told, say("paste", line=line)
        if seen.kind == "pattern" and len(seen.lit_s) < seen.flashes:
            lit, dark = ([formatting.rough(one, "s") for one in part] for part in (seen.lit_s, seen.dark_s))
            listed = [", ".join(f"{one:.3f}" for one in part) for part in (seen.lit_s, seen.dark_s)]
            line = f"{{lit_s: [{listed[0]}], dark_s: [{listed[1]}], video_frames_per_second: {self._rate:g}}}"
            return say("cycle", lit=lit, dark=dark, half=seen.half_s), say("paste", line=line)
        if seen.kind == "too fast":
            return (say("too_fast", at_least=seen.at_least_Hz, image=image),)
        if seen.kind == "pattern":
            return (say("irregular", flashes=seen.flashes, seconds=seen.seconds),)
        return (say("breathing", rate=rate) if seen.kind == "breathing" else say("few"),)

    @property
    def flashes(self) -> Answer:
        """How fast it flashes, for a notebook."""
        return Answer(self.flashing)

    @property
    def _rate(self) -> float:
        return round(1 / self.found.level.interval_s, 2)

    @property
    def strips(self) -> Strips:
        """The thumbnails of every reading, for a notebook."""
        return Strips(
            tuple(
                (row[0], row[1], self.strip(one)) for row, one in zip(self.rows, self.readings, strict=True)
            )
        )


@dataclass(frozen=True)
class Strips:
    """Thumbnails by reading: when, which pattern, the pictures."""

    strips: tuple[tuple[str, str, NDArray[np.uint8]], ...]

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        shown = "".join(
            f'<p>{html.escape(when)}: {html.escape(pattern)}<br><img alt="{html.escape(pattern)}" '
            f'src="data:image/png;base64,{base64.b64encode(png(strip)).decode()}"></p>'
            for when, pattern, strip in self.strips
        )
        return {
            "text/html": shown,
            "text/plain": "\n".join(f"{when}: {pattern}" for when, pattern, _ in self.strips),
        }


def precise(moment_s: float) -> str:
    """Return a moment as tables hold it, to a hundredth of a second: "0:43.20"."""
    hundredths = round(100 * moment_s)
    return f"{csv_table.stamp(hundredths / 100)}.{hundredths % 100:02d}"


def changes(
    film: decode.Film, *, box: decode.Box | None = None, start_s: float = 0.0, end_s: float = math.inf
) -> Answer:
    """Return when the light in a film changes, in a table, to choose chapters and trials from.

    Raises
    ------
    FilmError
        If the film can't be decoded, or the box lies outside the picture.

    Examples
    --------
    >>> str(changes(look_at(film_file)))
    'The light stays as it is from beginning to end.'
    """
    say, found = sentences.of("film"), moments(film, box=box, start_s=start_s, end_s=end_s)
    rows = tuple(
        (precise(one.time_s), say("moment", kind=one.kind, before=one.before, after=one.after))
        for one in found
    )
    told = () if rows else (say("no_moments"),)
    return Answer(told, tuple(say("moment_columns").split(" | ")) if rows else (), rows)


def harm(film: decode.Film, *, start_s: float = 0.0, end_s: float = math.inf) -> str:
    """Return whether a film exceeds WCAG's thresholds for general and red flashes, and what can't be judged.

    Raises
    ------
    FilmError
        If it can't be decoded.

    Examples
    --------
    >>> harm(look_at(film_file)).startswith("The film stays below the thresholds")
    True
    """
    return harm_of(judge(film, start_s=start_s, end_s=end_s), film)


def harm_of(judged: Sequence[FlashThreshold], film: decode.Film) -> str:
    """Return the same of a film that was judged.

    Examples
    --------
    >>> lamp = look_at(film_file)
    >>> harm_of(judge(lamp), lamp) == harm(lamp)
    True
    """
    say = sentences.of("film")
    said = caution(judged, "exceeds") or say("below", found=judged)
    return f"{said} {say('unjudged', pictures=film.rate_Hz)}"


def caution(judged: Sequence[FlashThreshold], words: str = "before_video") -> str:
    """Return what is to stand before a film; empty where it stays below the thresholds.

    Examples
    --------
    >>> caution(judge(look_at(film_file)))  # below the thresholds: none is needed
    ''
    """
    say = sentences.of("film")
    return " ".join(
        say(words, found=one, at=[csv_table.stamp(when) for when in one.exceeded_s])
        for one in judged
        if one.exceeded_s
    )


def tell(
    path: str | Path,
    *,
    at: Sequence[float] | None = None,
    start_s: float = 0.0,
    end_s: float = math.inf,
    rule: BlinkRule | Mapping[str, Any] | None = None,
    observers: Sequence[Observer] = (),
) -> Told:
    """Read what a light in a film tells.

    Parameters
    ----------
    path : str or pathlib.Path
        The film.
    at : sequence of float, optional
        Where the light is, across and down in the film's pixels; else the one spot that changes like one.
    start_s, end_s : float [s]
        Which part of the film.
    rule : BlinkRule or mapping, optional
        How its blinks tell a value.
    observers : sequence of Observer
        What else is to look at its pictures as they go by.

    Raises
    ------
    FilmError
        If it is no film, or no light, or several, are found in it.

    Examples
    --------
    >>> answer = tell(film_file, rule={"groups": ["units", "tenths"]})
    >>> [len(reading.blinks) for reading in answer.readings]
    [5]
    """
    film = decode.look_at(path)
    found_at = (at[0], at[1]) if at else None
    surveyed = survey(film, at=found_at, start_s=start_s, end_s=end_s, observers=observers)
    return told(surveyed, found_at or only(film, surveyed.spots), rule)


def told(
    surveyed: Survey, middle: tuple[float, float], rule: BlinkRule | Mapping[str, Any] | None = None
) -> Told:
    """Return what the light at a place of a film that was looked through tells.

    Raises
    ------
    FilmError
        If no light is found there.

    Examples
    --------
    >>> lamp = look_at(film_file)
    >>> answer = told(survey(lamp), (160, 90), {"groups": ["units", "tenths"]})
    >>> [len(reading.blinks) for reading in answer.readings]
    [5]
    """
    film, found = surveyed.film, switching(measure(surveyed.track(middle)))
    if not found.blinks:
        raise FilmError(
            f"nothing at {middle[0]:.0f},{middle[1]:.0f} goes on and off like a light",
            file=film.path.name,
            remedy="Say where the light is, in pixels from the left and the top: --at X,Y.",
        )
    if not isinstance(rule, BlinkRule):
        rule = quantities.checked(BlinkRule, dict(rule or {}), file="readout_blinks")
    return Told(film.path.name, found, rule, read(found, rule.number))


def only(film: decode.Film, found: Sequence[spotting.Spot]) -> tuple[float, float]:
    """Return where the one light of a film is.

    Raises
    ------
    FilmError
        If there is none, or there are several.

    Examples
    --------
    >>> lamp = look_at(film_file)
    >>> x, y = only(lamp, spots(lamp))
    >>> round(x), round(y)
    (160, 90)
    """
    if len(found) == 1:
        return found[0].x, found[0].y
    name = film.path.name
    if not found:
        raise FilmError(
            "nothing in it goes on and off like a light", file=name, remedy="If there is one: --at X,Y."
        )
    places = "; ".join(f"{one.x:.0f},{one.y:.0f} (on {one.times} times)" for one in found[:6])
    raise FilmError(
        f"{len(found)} spots go on and off like a light: {places}", file=name, remedy="Choose one: --at X,Y."
    )
