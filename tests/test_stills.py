"""Pictures for a video and for a shared link: what is on them, what they are, and what they must not tell."""

from __future__ import annotations

import doctest
import struct
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import site_sample

from reviewkit.drawing import ink
from reviewkit.drawing.picture import picture
from reviewkit.findings import Finding
from reviewkit.metrology.conformity import Limit
from reviewkit.publishing import png, stills
from reviewkit.sections import template

SOURCE = stills.Source("Alder", "Invented data, for demonstration.")
FONTS = Path(stills.__file__).with_name("fonts")


def words(svg: str) -> str:
    return " ".join(" ".join(ET.fromstring(svg).itertext()).split()).replace("\u00a0", " ")


def held(value: float, half: float, limit: Limit | None = None, **more: Any) -> Finding:
    return Finding(
        key="charge.hold_voltage",
        label="hold voltage at the cell",
        value=value,
        unit="V",
        uncertainty=half,
        limit=limit,
        **more,
    )


def test_a_card_says_what_how_much_the_limit_the_verdict_and_the_notice() -> None:
    item = held(4.186, 0.004, Limit(4.15, 4.25, "the cell's data sheet"), verdict="inconclusive")
    told = words(stills.card_picture(item, SOURCE, "dark"))
    for part in (
        *("Alder", "Hold voltage at the cell", "4.19 V", "4.15 V to 4.25 V"),
        *("the cell's data sheet", "the meter can’t tell", "Invented data, for demonstration."),
    ):
        assert part in told
    assert "±" not in told


@pytest.mark.parametrize(
    ("value", "said"), [(4.1548, "4.155\u00a0V"), (4.1452, "4.145\u00a0V"), (4.18, "4.18\u00a0V")]
)
def test_rounding_carries_no_value_onto_its_limit_or_beyond_it(value: float, said: str) -> None:
    assert stills.card_text(held(value, 0.004, Limit(4.15, 4.25, ""))) == said


@pytest.mark.parametrize(
    ("item", "said"),
    [
        (Finding(key="a.b", label="ends", value=True), "yes"),
        (
            Finding(key="a.b", label="t", value=15360.0, unit="s", uncertainty=2.7),
            "4\u00a0h\u00a016\u00a0min",
        ),
        (Finding(key="a.b", label="i", value=7.179e-5, unit="A", uncertainty=3.6e-6), "72\u00a0µA"),
        (Finding(key="a.b", label="i", value=0.0, unit="A", uncertainty=1e-3), "0\u00a0A"),
        (
            Finding(key="ui.hazards", label="ways", value=[{}], note="It lights by itself."),
            "It lights by itself.",
        ),
    ],
)
def test_a_card_says_words_as_words_and_numbers_in_few_digits(item: Finding, said: str) -> None:
    assert stills.card_text(item) == said


def test_a_sentence_is_said_without_what_a_table_is_for() -> None:
    tried = doctest.testmod(stills)
    assert tried.attempted
    assert not tried.failed
    told = (
        "drawn 0.7971\u00a0A\u00a0±\u00a00.0110\u00a0A, "
        "110.24\u00a0mΩ\u00a0±\u00a00.64\u00a0mΩ; 97.31\u202f%, 0.04185\u00a0V, 10 of 10"
    )
    assert stills.spoken(told) == "drawn 0.797\u00a0A, 110\u00a0mΩ; 97.3\u202f%, 0.0418\u00a0V, 10 of 10"


def test_a_card_is_made_of_what_can_go_wrong_and_of_whether_the_charge_ends() -> None:
    summary = next(one for one in template.discover() if one.name == "summary")
    assert {"ui.hazards", "charge.terminates"} <= set(summary.about.cards)
    # What the summary displays for the list stands there already; none of it a second time.
    assert not summary.about.figures


def test_hostile_text_on_a_card_is_text() -> None:
    item = Finding(
        key="a.b", label='<script>x</script>"><image href="https://example.org/"/>\x00', value="&<b>"
    )
    svg = stills.card_picture(item, stills.Source("<svg onload='x'>\x07", "]]>\x0b"), "light")
    assert {node.tag.rpartition("}")[2] for node in ET.fromstring(svg).iter()} <= {"svg", "rect", "text", "g"}
    assert png.drawn(svg, 1920)


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


@pytest.mark.parametrize("length", [1, 24, 120])
def test_no_line_beside_a_chart_leaves_the_picture(length: int) -> None:
    drawn = picture({"data": [{"y": [1, 2]}], "layout": {}}, width=stills.chart_size(380)[0])
    svg = stills.chart_picture("How long?", "A word and another. " * length, drawn, SOURCE, "light")
    texts = [node for node in ET.fromstring(svg) if node.tag.endswith("text")]
    assert max(float(node.attrib["y"]) for node in texts) < stills.HEIGHT
    for node in texts:
        size, left = float(node.attrib["font-size"]), float(node.attrib["x"])
        assert left + size * ink.advance(node.text or "") < stills.WIDTH


def chunks(png: bytes) -> list[bytes]:
    """The names of a PNG's chunks (PNG, third edition, 5.3)."""
    names, place = [], 8
    while place < len(png):
        (length,) = struct.unpack(">I", png[place : place + 4])
        names.append(png[place + 4 : place + 8])
        place += 12 + length
    return names


@pytest.mark.parametrize("title", ["Alder", site_sample.LONG, "W" * 200, "", "灯 \x00"])
def test_a_preview_is_of_the_size_that_shared_links_show(title: str) -> None:
    png = stills.preview(title, "It ends its charge by itself. " * 20, notice="Invented data.")
    assert struct.unpack(">II", png[16:24]) == (1200, 630)
    assert len(png) < 300_000


def test_every_key_figure_is_drawn_light_and_dark_and_holds_nothing_private(tmp_path: Path) -> None:
    reviewed = site_sample.reviewed(tmp_path / "alder", tmp_path / "site" / "alder", name="Alder")
    assert reviewed.summary
    section = reviewed.summary.section
    named = replace(section, about=section.about.model_copy(update={"cards": ("charge.plateau_current",)}))
    reviewed = replace(reviewed, summary=replace(reviewed.summary, section=named))
    first, *others = stills.headlines(reviewed)
    assert first.key == "charge.plateau_current"
    assert {item.verdict for item in others} == {"fail", "inconclusive"}
    reviewed.staged.mkdir(parents=True, exist_ok=True)
    made = stills.add(reviewed)
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
        assert "rows" not in words(text)
        assert ("-dark" in path.name) == (stills.INKS["dark"]["paper"] in text)


def _advances(font: Path) -> dict[str, float]:
    """Width of each sign in sizes of the font: OpenType 1.9.1, tables `cmap`, `head`, `hhea`, `hmtx`."""
    data = font.read_bytes()
    (count,) = struct.unpack(">H", data[4:6])
    table = {}
    for place in range(count):
        tag, _, start, _ = struct.unpack(">4sIII", data[12 + 16 * place : 28 + 16 * place])
        table[tag.decode()] = start
    (units,) = struct.unpack(">H", data[table["head"] + 18 : table["head"] + 20])
    (measured,) = struct.unpack(">H", data[table["hhea"] + 34 : table["hhea"] + 36])
    start = table["hmtx"]
    widths = [struct.unpack(">H", data[start + 4 * n : start + 4 * n + 2])[0] for n in range(measured)]
    return {
        chr(code): widths[min(glyph, measured - 1)] / units for code, glyph in _glyphs(data, table["cmap"])
    }


def _glyphs(data: bytes, start: int) -> list[tuple[int, int]]:
    (count,) = struct.unpack(">H", data[start + 2 : start + 4])
    records = [struct.unpack(">HHI", data[start + 4 + 8 * n : start + 12 + 8 * n]) for n in range(count)]
    starts = [start + offset for *_, offset in records]
    at = next(one for one in starts if struct.unpack(">H", data[one : one + 2])[0] == 4)
    (twice,) = struct.unpack(">H", data[at + 6 : at + 8])

    def row(offset: int) -> list[int]:
        return list(struct.unpack(f">{twice // 2}H", data[at + offset : at + offset + twice]))

    found = []
    ends, firsts, deltas = row(14), row(16 + twice), row(16 + 2 * twice)
    for number, (first, last, delta, shift) in enumerate(
        zip(firsts, ends, deltas, row(16 + 3 * twice), strict=True)
    ):
        for code in range(first, min(last, 0xFFFE) + 1):
            glyph = code
            if shift:
                where = at + 16 + 3 * twice + 2 * number + shift + 2 * (code - first)
                (glyph,) = struct.unpack(">H", data[where : where + 2])
            found.append((code, (glyph + delta) & 0xFFFF if glyph or not shift else 0))
    return found


def test_the_table_of_widths_is_that_of_the_carried_font() -> None:
    real = _advances(FONTS / "DejaVuSans.ttf")
    assert len(real) > 1000
    for signs in ink._SIGNS.values():
        for sign in signs:
            assert real[sign] - 1e-9 <= ink.advance(sign) <= real[sign] + 0.0201 + 0.05 * (sign in "œ"), sign


def test_bold_sentences_are_no_wider_than_they_are_taken_for() -> None:
    real = _advances(FONTS / "DejaVuSans-Bold.ttf")
    for text in (
        "How does the device charge its cell?",
        "charging locked",
        "left in here",
        "4.19 V",
        "10 of 10",
    ):
        assert sum(real[sign] for sign in text) <= ink.advance(text, bold=True)


def test_the_fonts_licence_lies_beside_them() -> None:
    assert "Permission is hereby granted" in (FONTS / "LICENSE.txt").read_text(encoding="utf-8")
