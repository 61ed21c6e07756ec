"""Photographs in an author's words: published upright, small and bare; what can't be is refused.

What a picture holds is told by Pillow's own reader, on pictures made here; how a high-efficiency file
begins by ISO/IEC 23008-12; the numbers of a camera's notes by Exif 2.32 (CIPA DC-008), table 4.
"""

from __future__ import annotations

import io
import json
import shutil
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageCms
from visits import Visit, needs_browser

import reviewkit
from reviewkit.commands import Published
from reviewkit.review import author_text, photographs

pytestmark = pytest.mark.usefixtures("libraries_ready")

ALDER = Path(__file__).parents[1] / "examples" / "alder"
REVIEW = """
device: {name: Lamp}
review: {edition: 0}
voltmeter: {accuracy: "±(0.5 % + 2)", resolution: 1 mV}
readout_table: readout.csv
"""
ORIENTATION, CAMERA, POSITION, LATITUDE = 0x0112, 0x0110, 0x8825, 2


def noisy(width: int, height: int) -> Image.Image:
    """A picture that packs badly: the worst there is for its weight."""
    return Image.fromarray(np.random.default_rng(1).integers(0, 255, (height, width, 3), dtype=np.uint8))


def quarters(width: int, height: int) -> Image.Image:
    """Red above left, green above right, blue below left, white below right."""
    image = Image.new("RGB", (width, height), "white")
    image.paste((255, 0, 0), (0, 0, width // 2, height // 2))
    image.paste((0, 255, 0), (width // 2, 0, width, height // 2))
    image.paste((0, 0, 255), (0, height // 2, width // 2, height))
    return image


def telling(turned: int = 1) -> bytes:
    notes = Image.Exif()
    notes[ORIENTATION], notes[CAMERA] = turned, "cameramarker"
    notes.get_ifd(POSITION)[LATITUDE] = (46.0, 33.0, 12.0)
    stream = io.BytesIO()
    quarters(2400, 1200).save(stream, "JPEG", exif=notes, comment=b"commentmarker", quality=95)
    return stream.getvalue()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "lamp"
    (place / "photos").mkdir(parents=True)
    (place / "review.yaml").write_text(REVIEW, encoding="utf-8")
    shutil.copy(ALDER / "readout.csv", place)
    return place


def words(folder: Path, text: str) -> None:
    (folder / "words.md").write_text(text, encoding="utf-8")


def published(folder: Path, **options: Any) -> Published:
    (done,) = reviewkit.run(folder, out=folder.parent / "site", **options)
    return done


def near(one: tuple[int, ...], other: tuple[int, ...], most: int = 12) -> bool:
    return all(abs(a - b) <= most for a, b in zip(one, other, strict=True))


@pytest.mark.parametrize(
    ("turned", "size", "above_left"),
    # Exif 2.32, table 6: 3 is upside down, 6 has its top to the right, 8 to the left.
    [
        (1, (1600, 800), (255, 0, 0)),
        (3, (1600, 800), (255, 255, 255)),
        (6, (800, 1600), (0, 0, 255)),
        (8, (800, 1600), (0, 255, 0)),
    ],
)
def test_a_photograph_stands_upright_small_and_bare(
    folder: Path, turned: int, size: tuple[int, int], above_left: tuple[int, int, int]
) -> None:
    (folder / "photos" / "a.jpg").write_bytes(telling(turned))
    shown = photographs.sized(folder, "photos/a.jpg")
    image = Image.open(io.BytesIO(shown.data))
    assert image.size == (shown.width, shown.height) == size
    assert near(image.getpixel((60, 60)), above_left)
    assert not dict(image.getexif())
    assert not {"comment", "exif", "icc_profile"} & set(image.info)
    assert b"marker" not in shown.data


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_heaviest_picture_is_light_and_stays_what_it_was(folder: Path, kind: str) -> None:
    name = f"a.{kind.lower()}"
    noisy(3000, 2000).save(folder / "photos" / name, kind)
    shown = photographs.sized(folder, f"photos/{name}")
    assert max(shown.width, shown.height) <= photographs.MOST_PIXELS == 1600
    assert len(shown.data) <= (photographs.MOST_BYTES if kind != "PNG" else 1_200_000)
    assert photographs.MOST_BYTES == 400_000
    assert Image.open(io.BytesIO(shown.data)).format == kind


def test_a_small_picture_is_not_blown_up_and_keeps_what_it_lets_through(folder: Path) -> None:
    Image.new("RGBA", (40, 30), (255, 0, 0, 128)).save(folder / "photos" / "a.png")
    shown = photographs.sized(folder, "photos/a.png")
    image = Image.open(io.BytesIO(shown.data))
    assert (image.size, image.getpixel((5, 5))) == ((40, 30), (255, 0, 0, 128))


def test_colours_of_another_space_are_turned_into_those_a_browser_takes_them_for(folder: Path) -> None:
    """CIELAB's mid-grey, L* = 50, is 119 in sRGB (IEC 61966-2-1, by its formulas: from memory)."""
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    there = ImageCms.buildTransform(lab, srgb, "LAB", "RGB")
    grey = ImageCms.applyTransform(Image.new("LAB", (40, 40), (128, 128, 128)), there)
    grey.save(folder / "photos" / "a.jpg", icc_profile=srgb.tobytes(), quality=95)
    image = Image.open(io.BytesIO(photographs.sized(folder, "photos/a.jpg").data))
    assert near(image.getpixel((5, 5)), (119, 119, 119), 3)
    assert "icc_profile" not in image.info


REFUSED = {
    "no words": ("![](photos/a.jpg)", "the picture 'photos/a.jpg' has no words for those who can't see it"),
    "elsewhere": (
        "![a](https://pictures.example/a.jpg)",
        "it lies elsewhere: who reads the page would be known there",
    ),
    "missing": ("![a](photos/b.jpg)", "'photos/b.jpg': there is no such file"),
    "outside": ("![a](../a.jpg)", "'../a.jpg': the path leads out of the review folder"),
    "a blank": ("![a](photos/my lamp.jpg)", "what begins with '![' is no picture"),
    "heic": ("![a](photos/a.heic)", "it is in a high-efficiency format (HEIC)"),
    "heic by another name": ("![a](photos/renamed.jpg)", "it is in a high-efficiency format (HEIC)"),
    "no picture": ("![a](readout.csv)", "it is no picture that can be read"),
    "cut off": ("![a](photos/half.jpg)", "it is damaged, or cut off"),
    "a drawing": ("![a](photos/a.svg)", "it is no picture that can be read"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cant_be_shown_is_refused_before_a_run_and_by_it(folder: Path, case: str) -> None:
    (folder / "photos" / "a.jpg").write_bytes(telling())
    (folder / "photos" / "half.jpg").write_bytes(telling()[:20_000])
    for name in ("a.heic", "renamed.jpg"):
        (folder / "photos" / name).write_bytes(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(100))
    (folder / "photos" / "a.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>", encoding="utf-8")
    text, told = REFUSED[case]
    words(folder, f"First.\n\n{text}")
    (fault,) = reviewkit.check(folder)
    assert fault.message.startswith("words.md, line 3: ")
    assert told in fault.message
    assert fault.remedy
    if "heic" in case:
        assert "Export it as JPEG" in fault.remedy
    with pytest.raises(reviewkit.errors.InputError, match=r"words\.md, line 3"):
        published(folder)
    assert not (folder.parent / "site" / "lamp").exists()


def test_it_is_published_in_the_site_in_evidence_and_in_one_file_and_verifies(folder: Path) -> None:
    (folder / "photos" / "a.jpg").write_bytes(telling(6))
    words(folder, '![the {readout.rule} lamp](photos/a.jpg "Its readout: {readout.rule}")')
    before = (folder / "photos" / "a.jpg").read_bytes()
    done = published(folder, single_file=True)
    page = done.index.read_text(encoding="utf-8")
    (name,) = [path.name for path in (done.place / "photos").iterdir()]
    rule = done.findings["readout.rule"].text
    shown = f'<img class="photo" src="photos/{name}" alt="the {rule} lamp" width="800" height="1600"'
    assert f'<figure>{shown} loading="lazy"' in page
    assert f"<figcaption>Its readout: {rule}</figcaption></figure>" in page
    assert (folder / "photos" / "a.jpg").read_bytes() == before
    with zipfile.ZipFile(done.place / "evidence.zip") as evidence:
        assert evidence.read("review/photos/a.jpg") == (done.place / "photos" / name).read_bytes()
        crate = json.loads(evidence.read("ro-crate-metadata.json"))
    assert any(
        item["@id"] == "review/photos/a.jpg" and "photograph" in item["description"]
        for item in crate["@graph"]
        if "description" in item
    )
    files = [path.read_bytes() for path in done.place.rglob("*") if path.is_file()]
    assert not [data for data in files if b"cameramarker" in data or b"commentmarker" in data]
    assert 'src="data:image/jpeg;base64,' in (done.place / "lamp.html").read_text(encoding="utf-8")
    (verified,) = reviewkit.verify(done.place / "evidence.zip")
    assert verified.stands


def test_another_picture_under_the_same_name_is_published(folder: Path) -> None:
    Image.new("RGB", (40, 40), "red").save(folder / "photos" / "a.png", compress_level=0)
    words(folder, "![a](photos/a.png)")
    first = {path.name for path in (published(folder).place / "photos").iterdir()}
    size = (folder / "photos" / "a.png").stat().st_size
    Image.new("RGB", (40, 40), "lime").save(folder / "photos" / "a.png", compress_level=0)
    assert (folder / "photos" / "a.png").stat().st_size == size
    assert {path.name for path in (published(folder).place / "photos").iterdir()} != first


def test_photographs_are_no_files_that_nothing_names(folder: Path) -> None:
    (folder / "photos" / "a.jpg").write_bytes(telling())
    words(folder, "![a](photos/a.jpg)")
    assert list(author_text.pictured(folder)) == ["photos/a.jpg"]
    from reviewkit import commands

    assert not [line for line in commands.remarks(folder) if "photos/a.jpg" in line]


@needs_browser
@pytest.mark.parametrize("width", [360, 1280])
def test_it_fits_the_page_and_nothing_moves_when_it_comes(folder: Path, browser: Any, width: int) -> None:
    (folder / "photos" / "a.jpg").write_bytes(telling())
    words(folder, '![a lamp](photos/a.jpg "A caption.")\n\nText below.')
    with Visit(browser, published(folder).index, viewport={"width": width, "height": 800}) as visit:
        image = visit.page.locator("img.photo")
        room = image.evaluate("part => [part.clientWidth, part.clientHeight]")
        image.scroll_into_view_if_needed()
        visit.page.wait_for_function("() => document.querySelector('img.photo').complete")
        assert image.evaluate("part => part.naturalWidth") == 1600
        assert image.evaluate("part => [part.clientWidth, part.clientHeight]") == room
        assert visit.overhang(width) <= 0
        assert not visit.said
