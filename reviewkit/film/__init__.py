"""A film of the bench: what a light in it tells by blinks, how fast it flashes, when something changes."""

from reviewkit.film.blinks import Blink, Switching, switching
from reviewkit.film.decode import Film, look_at
from reviewkit.film.difficulties import Difficulty, recognised
from reviewkit.film.level import Level, measure
from reviewkit.film.patterns import Reading, read
from reviewkit.film.spotting import Spot, spots
from reviewkit.film.stills import contact_sheet, png
from reviewkit.film.telling import Told, only, tell
from reviewkit.film.tracking import Track, track

__all__ = [
    "Blink",
    "Difficulty",
    "Film",
    "Level",
    "Reading",
    "Spot",
    "Switching",
    "Told",
    "Track",
    "contact_sheet",
    "look_at",
    "measure",
    "only",
    "png",
    "read",
    "recognised",
    "spots",
    "switching",
    "tell",
    "track",
]
