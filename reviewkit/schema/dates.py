"""Days as people write them: 2026-11-27, 27.11.2026, 27 Nov 2026, November 27, 2026; never guessed.

References
----------
ISO 8601 (year first); DIN 5008 and its like (with points the day comes first). With slashes or dashes and
the year last there are both habits.
"""

from __future__ import annotations

import re
import unicodedata
from datetime import date

MONTHS = (
    "jan january januar janvier janv enero ene jän jänner",
    "feb february februar fevrier fevr febrero",
    "mar march marz mrz mars marzo",
    "apr april avril avr abril abr",
    "may mai mayo",
    "jun june juni juin junio",
    "jul july juli juillet juil julio",
    "aug august aout agosto ago",
    "sep sept september septembre septiembre",
    "oct october oktober okt octobre octubre",
    "nov november novembre noviembre",
    "dec december dezember dez decembre diciembre dic",
)
"""The twelve months in four languages, each with its shorter forms."""


def _fold(word: str) -> str:
    plain = unicodedata.normalize("NFKD", word.casefold())
    return "".join(sign for sign in plain if not unicodedata.combining(sign))


_MONTH_OF = {_fold(name): month for month, names in enumerate(MONTHS, 1) for name in names.split()}
_OF_DAY = r"(?P<day>\d{1,2})(?:st|nd|rd|th|er|\.|º)?"
_WORD = r"(?:(?:of|de|del)\s+)?(?P<word>[^\W\d_]{3,12})\.?"
_YEAR = r"(?P<year>\d{4})(?!\d)"
_TIME = r"(?:[T ]\d\d:\d\d(?::\d\d)?)?"
_FORMS = tuple(
    re.compile(form, re.IGNORECASE)
    for form in (
        rf"{_YEAR}\s*([-./])\s*(?P<month>\d{{1,2}})\s*\2\s*(?P<day>\d{{1,2}})(?!\d){_TIME}",
        rf"(?P<first>\d{{1,2}})\s*(?P<mark>[-./])\s*(?P<second>\d{{1,2}})\s*(?P=mark)\s*{_YEAR}",
        rf"{_OF_DAY}[\s-]+{_WORD},?[\s-]+(?:de\s+|del\s+)?{_YEAR}",
        rf"{_WORD}\s+{_OF_DAY},?\s+{_YEAR}",
        rf"{_YEAR}[\s-]+{_WORD}[\s-]+{_OF_DAY}(?!\d)",
    )
)


def iso(text: str) -> str:
    """Return a text with the day that it begins with written as 2026-11-27; else as it is.

    Parameters
    ----------
    text : str
        "27.11.2026", "Nov 27, 2026, against a 2.5 V reference", "last winter".

    Raises
    ------
    ValueError
        If the day could be two, or is in no calendar.

    Examples
    --------
    >>> iso("27 Nov 2026, against a reference"), iso("spring 2026")
    ('2026-11-27, against a reference', 'spring 2026')
    >>> iso("03/04/2026")
    Traceback (most recent call last):
    ...
    ValueError: '03/04/2026' is 3 April 2026 or 4 March 2026; write 2026-04-03 or 2026-03-04
    """
    bare = text.strip()
    for form in _FORMS:
        found = form.match(bare)
        day = _day(found) if found else None
        if found and day:
            return day.isoformat() + bare[found.end() :]
    return text


def day_of(text: str) -> date | None:
    """Return the day that a text begins with; None where it begins with none, or could be two."""
    try:
        return date.fromisoformat(iso(text)[:10])
    except ValueError:
        return None


def _day(found: re.Match[str]) -> date | None:
    part, written = found.groupdict(), found[0].strip()
    year = int(part["year"])
    if part.get("first"):
        return _one_of(int(part["first"]), int(part["second"]), year, part["mark"], written)
    if part.get("word"):
        month = _MONTH_OF.get(_fold(part["word"]))
        return month and _real(year, month, int(part["day"]), written)  # type: ignore[return-value]
    return _real(year, int(part["month"]), int(part["day"]), written)


def _one_of(first: int, second: int, year: int, mark: str, written: str) -> date:
    """Return the day of two numbers and a year."""
    day_first, month_first = _possible(year, second, first), _possible(year, first, second)
    if mark == "." or not (day_first and month_first) or day_first == month_first:
        return day_first or month_first or _real(year, second, first, written)
    told = " or ".join(f"{one.day} {one:%B %Y}" for one in (day_first, month_first))
    raise ValueError(f"'{written}' is {told}; write {day_first} or {month_first}")


def _possible(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _real(year: int, month: int, day: int, written: str) -> date:
    found = _possible(year, month, day)
    if found is None:
        raise ValueError(f"'{written}' is no day of any calendar; expected such as 2026-11-27")
    return found
