"""A film of the bench: what a light in it tells by blinks, how fast it flashes, when something changes."""

from reviewkit.film.blinks import Blink, Switching, switching
from reviewkit.film.decode import Box, Film, look_at
from reviewkit.film.difficulties import Difficulty, recognised
from reviewkit.film.level import Level, measure
from reviewkit.film.moments import Moment, moments
from reviewkit.film.one_pass import spots, survey, track
from reviewkit.film.patterns import Reading, read
from reviewkit.film.signals import Flashing, FlashJudge, FlashThreshold, flashing, judge
from reviewkit.film.spotting import Spot
from reviewkit.film.stills import contact_sheet, png, spot_sheet
from reviewkit.film.telling import Told, caution, changes, harm, harm_of, only, tell, told
from reviewkit.film.tracking import Track

__all__ = [
    "Blink",
    "Box",
    "Difficulty",
    "Film",
    "FlashJudge",
    "FlashThreshold",
    "Flashing",
    "Level",
    "Moment",
    "Reading",
    "Spot",
    "Switching",
    "Told",
    "Track",
    "caution",
    "changes",
    "contact_sheet",
    "flashing",
    "harm",
    "harm_of",
    "judge",
    "look_at",
    "measure",
    "moments",
    "only",
    "png",
    "read",
    "recognised",
    "spot_sheet",
    "spots",
    "survey",
    "switching",
    "tell",
    "told",
    "track",
]
