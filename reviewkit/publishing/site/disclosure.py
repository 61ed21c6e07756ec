"""The sample and who has what to do with whom, each in one line at the head of a review."""

from __future__ import annotations

from reviewkit.review.review_file import Device


def about_sample(device: Device) -> str:
    """Return the device and the sample in one line."""
    kind = device.kind or "Device"
    told = [
        f"{kind} by {device.maker}" if device.maker else kind,
        f"serial {device.serial}" if device.serial else "",
        f"firmware {device.firmware}" if device.firmware else "",
    ]
    after = f"; afterwards {device.afterwards}" if device.afterwards else ""
    return (
        f"{_sentence(', '.join(part for part in told if part))} {_sentence(_sample(device.sample) + after)}"
    )


def _sample(sample: str) -> str:
    if not sample:
        return "Where the sample came from is not stated"
    return sample if "sample" in sample.lower() else f"The sample: {sample}"


def disclosure(device: Device, *, notice: str = "") -> str:
    """Return what the author discloses, in their own words or from the single answers.

    Parameters
    ----------
    device : Device
    notice : str
        Stands on the page already and is not said twice.
    """
    if device.disclosure:
        return _sentence(device.disclosure.removeprefix(notice).strip() or notice)
    told = [
        f"Payment: {device.payment}" if device.payment else "",
        f"Links: {device.links}" if device.links else "",
        _first_sight(device),
    ]
    said = " ".join(_sentence(part) for part in told if part)
    return said or "The author has disclosed nothing about ties to the maker."


def _first_sight(device: Device) -> str:
    if device.maker_saw_first is None:
        return ""
    seen = "saw" if device.maker_saw_first else "did not see"
    return f"The maker {seen} this review before it was published"


def _sentence(text: str) -> str:
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
