"""Moments of a video: read as people type them, written as players and addresses want them."""

from __future__ import annotations

from reviewkit.tables import csv_table


def seconds(text: str) -> float:
    """Return a moment in seconds.

    Parameters
    ----------
    text : str
        "754", "12:34", "1:02:03", each with or without a fraction: Normal Play Time, as it stands in
        Media Fragments URI 1.0, 4.2.1. More than 59 minutes or seconds beside a larger unit are no time.

    Raises
    ------
    ValueError
        If it is none.
    """
    total = 0.0
    parts = text.split(":")
    for place, part in enumerate(parts):
        number = csv_table.number(part)
        is_whole = number == int(number) or place == len(parts) - 1
        if len(parts) > 3 or number < 0 or (place and number >= 60) or not is_whole:
            raise ValueError(f"'{text}' is no time")
        total = 60 * total + number
    return total


def stamp(moment_s: float) -> str:
    """Return a moment as players show it: 83 → "1:23", 3723 → "1:02:03"."""
    minutes, left = divmod(int(moment_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def precise(moment_s: float) -> str:
    """Return a moment as WebVTT has it: 83.5 → "00:01:23.500"."""
    whole, thousandths = divmod(round(moment_s * 1000), 1000)
    minutes, left = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{left:02d}.{thousandths:03d}"


def fragment(moment_s: float) -> str:
    """Return what leads to a moment behind a video's address (Media Fragments URI 1.0): "#t=83.5"."""
    text = f"{moment_s:.3f}".rstrip("0").rstrip(".")
    return f"#t={text}"
