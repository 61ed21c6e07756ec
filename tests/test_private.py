"""Private things stay private: markers planted in every place and way are in no published file."""

from __future__ import annotations

import getpass
import io
import os
import shutil
import socket
import tempfile
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import private_things
import pytest

from reviewkit import commands
from reviewkit.commands import SideBySide
from reviewkit.privacy import images, notebook
from reviewkit.privacy import notebook as private_text

FILES = Path(__file__).parent / "files"

# Each is part of a name, path or text that no reader needs to know.
MARKERS = {
    *("usermarker", "namemarker", "hostmarker", "homemarker", "tempmarker", "secretmarker", "benchmarker"),
    *("outmarker", "diarymarker", "pathmarker", "winmarker", "sharemarker", "urimarker"),
    *("tracemarker", "wordmarker", "exifmarker", "commentmarker", "behindmarker", "photomarker"),
    *("drawingmarker", "gifmarker", "documentmarker", "errormarker", "columnmarker", "workmarker"),
}

TELLING = r"""
import base64, getpass, gzip, html, json, os, socket, sys, traceback
from pathlib import Path
from urllib.parse import quote

from IPython.display import HTML, JSON, SVG, Image, Markdown, display

import private_things
from private_things import say
from told_things import *
from reviewkit.findings.displays import DATASET_MIME
from reviewkit.findings import Finding, Findings
from reviewkit.findings.displays import ExtraPage

home, temp, beside = Path(HOME), Path(TEMP), Path.cwd().parent / "my diary" / f"of {say('diary')}.txt"
places = [Path.cwd(), Path(log).resolve(), home, home / "a b" / "c.txt", temp, beside, Path(OUT), Path(WORK)]
print(*places, sep="\n")
print(places, os.environ, sys.path, sys.executable, getpass.getuser(), socket.gethostname())

print(f"{USER} on {HOST}, {USER}_1, C:\\Users\\{say('win')}\\x.csv", f"\\\\{say('share')}\\disk\\x")
print(f"/nowhere/{say('path')}/x (/nowhere/{say('path')}/x)", NAME, HOST.upper())
print(f"file:///{say('uri')}/x ~/{say('path')}/x")

for place in places:
    text = str(place)
    print(json.dumps(f"a\n{text}\n{USER}\t{USER}"), quote(text), quote(text, safe=""), html.escape(text))
    print(repr(text), ascii(text), place.as_uri(), base64.b64encode(text.encode()).decode())
    print(base64.b64encode(gzip.compress(f"{text} {USER} {HOST}".encode())).decode())

print(base64.b64encode(f"a text by {USER} on {HOST}".encode()).decode())
print(base64.encodebytes(("from " + str(home) + " by " + USER + " " * 40 + HOST).encode()).decode())

def fails():
    raise RuntimeError(f"{say('trace')} in {Path.cwd()}")

try:
    fails()
except RuntimeError:
    print(traceback.format_exc())
    traceback.print_exc()

texts = {"Author": say("word"), "Comment": say("comment"), "Title": str(home), "Raw": say("exif")}
picture = private_things.png({**texts, "behind": say("behind")})
photo = private_things.jpeg(say("photo"))
display(Image(data=picture, format="png"), Image(data=photo, format="jpeg"))
display(SVG(data=private_things.svg(say("drawing"))))
film = f"GIF89a\x01\0\x01\0\0\0\0!\xfe\x09{say('gif')}\0;".encode("latin-1")
display(Image(data=film, format="gif"))
document = base64.b64encode(f"%PDF-1.7 {say('document')}".encode()).decode()
display({"application/pdf": document, "text/plain": "a"}, raw=True)

drawing = private_things.svg(say("path")).encode()
for kind, data in {"png": picture, "jpeg": photo, "svg+xml": drawing}.items():
    coded = base64.b64encode(data).decode()
    display(HTML(f"<p title='{home}'>{USER}<img src='data:image/{kind};base64,{coded}'></p>"))
    display(Markdown(f"![{home}](data:image/{kind};base64,{coded}) `{beside}` [{USER}](file://{beside})"))

display(JSON({str(home): {USER: [str(beside), HOST]}}))

rows = f"Time / s,/nowhere/{say('column')}/x / V\n0,{home}\n".encode()
about = {"name": "told", "title": f"by {USER}", "rows": 1, "fields": [{"name": str(home), "title": HOST}]}
about |= {"from": [str(beside)], "csv_gzip_base64": base64.b64encode(gzip.compress(rows)).decode()}
display({DATASET_MIME: about, "text/plain": ""}, raw=True)

display(ExtraPage("letter", f"To {USER}", f"From {home}, in {Path.cwd()}"))

about = {"note": str(beside), "inputs": (str(beside),)}
Findings((Finding("telling.text", f"by {USER} on {HOST}", str(home), **about),))
"""
# What a summary or a comparison may tell of where it runs.
WHERE = r"""
import os, sys
from pathlib import Path

from told_things import *

print(Path.cwd(), os.environ, sys.path, list(Path.cwd().parent.iterdir()), USER)
print([Path.cwd()], f"'{Path.cwd() / 'x y' / 'z'}'")
"""
FAILING = r"""
from private_things import say
from told_things import *

raise ValueError(f"{say('error')} {HOME} {USER}")
"""


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Two reviews and their comparison, run where every name and place is a marker."""
    with pytest.MonkeyPatch.context() as patch:
        root = tmp_path_factory.mktemp("private") / "workmarker's höuse & garden"
        places = {name: root / f"{name}marker wïth blank" for name in ("home", "bench", "out")}
        for place in places.values():
            place.mkdir(parents=True)
        # Sockets lie in there, and their paths may not be long.
        places["temp"] = Path(tempfile.mkdtemp(prefix="tempmarker ä "))
        known = {
            "USER": "usermarker",
            "HOST": "hostmarker.example",
            "NAME": "A. Namemarker",
            "HOME": str(places["home"]),
            "TEMP": str(places["temp"]),
            "OUT": str(places["out"]),
            "WORK": str(root),
        }
        _disguise(patch, known)
        templates = _templates(root, known)
        folders = [_bench(places["bench"] / name) for name in ("lantern", "torch")]
        together = commands.compare(
            *folders, out=places["out"], only_templates=[FILES / "templates", templates]
        )
        (draft,) = commands.run(
            folders[0],
            out=places["out"],
            only_templates=[FILES / "templates", templates, templates / "failing"],
        )
        commands.run(
            folders[1],
            out=places["out"],
            only_templates=[FILES / "templates", templates],
            single_file=True,
            stills=True,
        )
        yield SimpleNamespace(out=places["out"], together=together, draft=draft)
        shutil.rmtree(places["temp"])


def _disguise(patch: pytest.MonkeyPatch, known: dict[str, str]) -> None:
    """Make this machine one whose every name is a marker."""
    patch.setenv("HOME", known["HOME"])
    patch.setenv("TMPDIR", known["TEMP"])
    patch.setenv("SECRET_TOKEN", "secretmarker")
    patch.setenv("LC_SECRET", "secretmarker")
    modules = [known["WORK"], str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")]
    patch.setenv("PYTHONPATH", os.pathsep.join(modules))
    patch.setattr(tempfile, "tempdir", known["TEMP"])
    patch.setattr(socket, "gethostname", lambda: known["HOST"])
    patch.setattr(getpass, "getuser", lambda: known["USER"])
    patch.setattr(private_text, "_full_name", lambda: known["NAME"])


def _templates(root: Path, known: dict[str, str]) -> Path:
    folder = root / "templates"
    (folder / "failing").mkdir(parents=True)
    constants = "\n".join(f"{name} = {text!r}" for name, text in known.items())
    (root / "told_things.py").write_text(constants, encoding="utf-8")
    for name, lines, kind in (
        ("telling", TELLING, "section"),
        ("summary", WHERE, "summary"),
        ("compare", WHERE, "compare"),
        ("failing/wrong", FAILING, "section"),
    ):
        text = private_things.template(lines, kind=kind)
        (folder / f"{name}.ipynb").write_text(text, encoding="utf-8")
    return folder


def _bench(folder: Path) -> Path:
    shutil.copytree(FILES / "lantern", folder)
    # What the review does not name is no part of it.
    (folder / "diary of benchmarker.txt").write_text("benchmarker", encoding="utf-8")
    (folder / "logs" / "diarymarker.csv").write_text("benchmarker", encoding="utf-8")
    return folder


def test_no_output_tells_anything_private(
    planted: Any, record_property: Callable[[str, object], None]
) -> None:
    # The charts' script is plotly's own.
    outputs = {
        name: text
        for name, text in private_things.files(planted.out).items()
        if not name.startswith("assets/")
    }
    failed = planted.together.reviews[0].review.failed
    assert [(result.message, result.outcome.detail) for result in failed] == []
    assert {"lantern.draft/wrong.html", "torch/torch.html", "lantern/data/told.csv"} <= set(outputs)
    assert any(name.startswith("torch/stills/") for name in outputs)
    told = {name: found for name, text in outputs.items() if (found := private_things.told(text, MARKERS))}
    assert told == {}
    names = [name for name in outputs for marker in MARKERS if marker in name]
    assert names == []
    looked = sum(1 for text in outputs.values() for _ in private_things.pieces(text))
    record_property("figure", f"{len(MARKERS)} markers in {len(outputs)} files, {looked} pieces: 0 told")


def test_the_search_finds_what_the_notebooks_told_before(planted: Any) -> None:
    """What was executed, never published, holds all markers but those that its process can't know."""
    together: SideBySide = planted.together
    raw = "".join(result.outcome.notebook for result in together.reviews[0].review.sections)
    raw += "".join(result.outcome.notebook for result in planted.draft.review.failed)
    assert MARKERS - private_things.told(raw.encode(), MARKERS) == {"secretmarker"}


def test_what_a_reader_needs_is_still_there(planted: Any) -> None:
    text = (planted.out / "lantern" / "notebooks" / "telling.ipynb").read_text(encoding="utf-8")
    assert "logs/lux.csv" in text
    assert '"image/png"' in text
    assert '"image/jpeg"' in text
    assert "<circle" in text
    table = (planted.out / "lantern" / "data" / "told.csv").read_text(encoding="utf-8")
    assert table.startswith("Time / s,")


def test_a_picture_without_its_metadata_looks_the_same() -> None:
    """Pillow, an independent decoder: the same pixels, and nothing beside them but how it was held."""
    image = pytest.importorskip("PIL.Image", reason="Pillow is not installed")
    texts = {"Author": "a", "Comment": "b", "Title": "c", "Raw": "d", "behind": "e"}
    for data, kept in ((private_things.png(texts), {}), (private_things.jpeg("x"), {0x0112: 6})):
        before, after = (image.open(io.BytesIO(item)) for item in (data, images.stripped(data)))
        assert before.tobytes() == after.tobytes()
        assert dict(after.getexif()) == kept
        assert set(after.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "exif", "dpi"}
        assert len(before.info) > len(after.info)


@pytest.mark.parametrize(
    "make", [lambda: private_things.png({"a": "b", "behind": ""}), lambda: private_things.jpeg("x")]
)
def test_a_picture_cut_off_anywhere_is_no_picture(make: Callable[[], bytes]) -> None:
    data = make()
    end = len(images.stripped(data))
    whole = images.stripped(data)
    for size in range(end - 1):
        with pytest.raises(ValueError, match=r"cut off|damaged|neither"):
            images.stripped(whole[:size])


def test_a_picture_stripped_again_stays_as_it_is() -> None:
    for data in (private_things.png({"a": "b", "behind": "c"}), private_things.jpeg("x")):
        once = images.stripped(data)
        assert images.stripped(once) == once
        assert images.stripped(data + b"more") == once


def test_numbers_of_a_chart_are_not_touched() -> None:
    figure = {"data": [{"y": {"bdata": "L2hvbWUvbWU=", "dtype": "u1"}}], "layout": {"title": "/home/me"}}
    assert notebook.Scrubber().value(figure) == {
        "data": [{"y": {"bdata": "L2hvbWUvbWU=", "dtype": "u1"}}],
        "layout": {"title": "…"},
    }


@pytest.mark.parametrize("text", ["uncertainties", "A" * 64, "c29tZSB3b3JkcyBmb3IgYW55b25l", "deadbeef" * 8])
def test_what_is_coded_and_not_private_stays(text: str) -> None:
    assert images.cleaned(text, notebook.Scrubber((), ("marker",)).text) == text
