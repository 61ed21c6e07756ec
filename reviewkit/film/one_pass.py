"""One pass over a film: the view held still, the spots that change like a light, and their surrounds.

Which spot is a light shows only as the film goes on. So the surrounds of the likeliest ones so far are kept
from when they are likely; what went by before that is looked at again at the end, and for the one that is
asked for. A light that begins to blink early, as they do, costs seconds of a second pass.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from reviewkit.film.decode import Film, Picture, pictures
from reviewkit.film.spotting import Spot, Spotter
from reviewkit.film.tracking import MOST, Follower, Track, ViewPath

LIKELY = 3
"""Spots whose surrounds are kept [1]. Chosen: the light, its reflection and one more; another costs a second
pass."""
AGAIN_S = 1.0
"""How often they are looked for anew [s]. Chosen: a fiftieth of the time that a pass takes."""
APART = 1.0
"""A kept surround is a spot's while their middles are no further apart [cells]: a quarter of how far from its
place a light is looked for."""


class Observer(Protocol):
    """Looks at each picture as it goes by."""

    def see(self, picture: Picture) -> None:
        """Take in one picture."""


@dataclass
class _Kept:
    follower: Follower
    begin: int


@dataclass
class Survey:
    """What one pass over a film has found.

    Parameters
    ----------
    spots : tuple of Spot
        Those that change like a light, the likeliest first.
    """

    film: Film
    view: ViewPath
    spots: tuple[Spot, ...] = ()
    kept: list[_Kept] = field(default_factory=list)
    start_s: float = 0.0

    def track(self, middle: tuple[float, float]) -> Track:
        """Return a light's surround through the film.

        Raises
        ------
        FilmError
            If there are fewer than three pictures.
        """
        near = [one for one in self.kept if _apart(self.film, one.follower.middle, middle) <= APART]
        kept = near[0] if near else _Kept(Follower(self.film, middle), len(self.view.time_s))
        if kept.begin:
            end_s = self.view.time_s[kept.begin - 1]
            again = pictures(self.film, start_s=self.start_s, end_s=end_s)
            for number, picture in zip(range(kept.begin), again, strict=False):
                kept.follower.add(picture, self.view.shifts[number], number)
            kept.begin = 0
        return kept.follower.track(self.view)

    def keep(self, middle: tuple[float, float]) -> None:
        """Keep the surround of one place from the first picture on, and of no other."""
        self.kept = [_Kept(Follower(self.film, middle), 0)]

    def look(self, found: Sequence[Spot]) -> None:
        """Keep, from here on, the surrounds of the likeliest spots so far."""
        likely = [(spot.x, spot.y) for spot in found[:LIKELY]]
        same = [
            next((one for one in self.kept if _apart(self.film, one.follower.middle, middle) <= APART), None)
            for middle in likely
        ]
        now = len(self.view.time_s)
        self.kept = [
            one or _Kept(Follower(self.film, middle), now) for one, middle in zip(same, likely, strict=True)
        ]
        while len(self.kept) > 1 and sum(now - one.begin for one in self.kept) > MOST:
            self.kept.pop()


def _apart(film: Film, one: tuple[float, float], other: tuple[float, float]) -> float:
    return math.dist(one, other) / film.pixels_per_cell


def survey(
    film: Film,
    *,
    at: tuple[float, float] | None = None,
    start_s: float = 0.0,
    end_s: float = math.inf,
    observers: Sequence[Observer] = (),
) -> Survey:
    """Look through a film once: for spots that change like a light, or at the one place that is named.

    Parameters
    ----------
    at : tuple of float, optional
        Where the light is in the first picture, across and down, in its pixels; no other is looked for.
    start_s, end_s : float [s]
        Only from here up to there.
    observers : sequence of Observer
        What else is to look at the pictures.

    Raises
    ------
    FilmError
        If the film can't be decoded, holds too many pictures, or the place lies outside of them.

    Examples
    --------
    >>> surveyed = survey(look_at(film_file))
    >>> [spot.times for spot in surveyed.spots]
    [5]
    """
    found, spotter = Survey(film, ViewPath(film), start_s=start_s), Spotter(film)
    if at:
        found.keep(at)
    due = max(1, round(AGAIN_S * film.rate_Hz))
    for number, picture in enumerate(pictures(film, start_s=start_s, end_s=end_s)):
        shift, event = found.view.add(picture)
        if not at:
            spotter.add(picture.cells, shift, event)
        for one in found.kept:
            one.follower.add(picture, shift, number)
        for each in observers:
            each.see(picture)
        if not at and number % due == due - 1:
            found.look(spotter.spots(often=1))
    found.spots = spotter.spots()
    return found


def spots(film: Film, *, start_s: float = 0.0, end_s: float = math.inf) -> tuple[Spot, ...]:
    """Return the spots of a film that change like a light, the likeliest first.

    Raises
    ------
    FilmError
        If the film can't be decoded.

    Examples
    --------
    >>> (spot,) = spots(look_at(film_file))
    >>> f"changes {spot.times} times at ({spot.x:.0f}, {spot.y:.0f})"
    'changes 5 times at (160, 90)'
    """
    return survey(film, start_s=start_s, end_s=end_s).spots


def track(film: Film, middle: tuple[float, float], *, start_s: float = 0.0, end_s: float = math.inf) -> Track:
    """Follow a light's surround through a film.

    Parameters
    ----------
    middle : tuple of float
        Where the light is in the film's first picture looked at, across and down, in the film's pixels.

    Raises
    ------
    FilmError
        If the place lies outside the picture, no picture lies between the times, or there are too many.

    Examples
    --------
    >>> track(look_at(film_file), (160, 90)).patch.shape  # pictures, rows, columns
    (139, 49, 49)
    """
    return survey(film, at=middle, start_s=start_s, end_s=end_s).track(middle)
