"""Pictures for a video: what is on them, what they are, and what they must not tell."""

from __future__ import annotations

import struct
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
import site_sample
from visits import BROWSER, needs_browser

from reviewkit.errors import InputError
from reviewkit.findings import Finding
from reviewkit.metrology.conformity import Limit
from reviewkit.publishing import site, stills

SOURCE = stills.Source("Alder", "Invented data, for demonstration.")


def words(svg: str) -> str:
    return " ".join(" ".join(ET.fromstring(svg).itertext()).split())


def test_a_card_says_what_how_much_how_sure_the_limit_the_verdict_and_the_notice() -> None:
    item = Finding(
        key="charge.hold_voltage",
        label="hold voltage at the cell",
        value=4.186,
        unit="V",
        uncertainty=0.004,
        limit=Limit(4.15, 4.25, "the cell's data sheet"),
        verdict="inconclusive",
    )
    told = words(stills.card_picture(item, SOURCE, "dark")).replace("\u00a0", " ")
    for part in (
        *("Alder", "Hold voltage at the cell", "4.1860 V ± 0.0040 V", "4.15 V to 4.25 V"),
        *("the cell's data sheet", "the meter can’t tell", "Invented data, for demonstration."),
    ):
        assert part in told


def test_hostile_text_on_a_card_is_text() -> None:
    item = Finding(key="a.b", label='<script>x</script>"><image href="https://example.org/"/>', value="&<b>")
    root = ET.fromstring(stills.card_picture(item, stills.Source("<svg onload='x'>", "]]>"), "light"))
    assert {node.tag.rpartition("}")[2] for node in root.iter()} <= {"svg", "style", "rect", "text", "g"}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_on_a_picture_are_read_against_their_ground(scheme: str) -> None:
    """At least 7 : 1 for ink and 4.5 : 1 for the quiet ink: WCAG 2.2, 1.4.6 and 1.4.3."""
    ink = stills.INKS[scheme]
    assert contrast(ink["ink"], ink["paper"]) >= 7
    assert contrast(ink["quiet"], ink["paper"]) >= 4.5


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    dark, light = sorted(luminance(colour) for colour in (one, other))
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_a_long_answer_grows_smaller_until_it_fits() -> None:
    long = stills.Chart("x", "How long?", "A word and another. " * 24, 380)
    svg = stills.chart_picture(long, "<g xmlns='http://www.w3.org/2000/svg'/>", SOURCE, "light")
    texts = [node for node in ET.fromstring(svg).iter() if node.tag.endswith("text")]
    assert max(float(node.attrib["y"]) for node in texts) < stills.HEIGHT


def test_without_a_browser_the_user_reads_what_to_do(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv("REVIEWKIT_BROWSER", raising=False)
    with pytest.raises(InputError, match=r"no browser was found .* name its program with --browser"):
        stills.browser()
    with pytest.raises(InputError, match="there is no browser 'nowhere'"):
        stills.browser("nowhere")


@needs_browser
def test_the_browser_can_be_named_in_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REVIEWKIT_BROWSER", str(BROWSER))
    assert stills.browser() == Path(str(BROWSER))


def chunks(png: bytes) -> list[bytes]:
    """The names of a PNG's chunks (PNG, third edition, 5.3)."""
    names, place = [], 8
    while place < len(png):
        (length,) = struct.unpack(">I", png[place : place + 4])
        names.append(png[place + 4 : place + 8])
        place += 12 + length
    return names


@needs_browser
@pytest.mark.browser
def test_every_key_figure_is_drawn_light_and_dark_and_holds_nothing_private(tmp_path: Path) -> None:
    reviewed = site_sample.reviewed(tmp_path / "alder", tmp_path / "site" / "alder", name="Alder")
    assert reviewed.summary
    section = reviewed.summary.section
    named = replace(section, about=section.about.model_copy(update={"figures": ("charge.plateau_current",)}))
    reviewed = replace(reviewed, summary=replace(reviewed.summary, section=named))
    first, *others = stills.headlines(reviewed)
    assert first.key == "charge.plateau_current"
    assert {item.verdict for item in others} == {"fail", "inconclusive"}
    site.write_review(reviewed)
    made = stills.add(reviewed, program=stills.browser(BROWSER))
    drawn = {path.name for path in made}
    assert {
        f"card-{item.key.replace('.', '-').replace('_', '-')}-dark.svg" for item in stills.headlines(reviewed)
    } <= drawn
    charts = [path for path in made if not path.name.startswith("card-")]
    assert charts
    assert {path.name.replace("-dark", "-light") for path in charts} <= drawn
    for path in made:
        text, png = path.read_text(encoding="utf-8"), path.with_suffix(".png").read_bytes()
        ET.fromstring(text)
        assert struct.unpack(">II", png[16:24]) == (1920, 1080)
        assert set(chunks(png)) <= {b"IHDR", b"sRGB", b"IDAT", b"IEND"}
        assert str(tmp_path) not in text
        assert "file:" not in text
    curves = {path.name: path.read_text(encoding="utf-8") for path in charts}
    assert all(stills.INKS["dark"]["paper"] in svg for name, svg in curves.items() if "-dark" in name)
    assert all("main-svg" in svg for svg in curves.values())
