"""What the kit does for its user, as functions: the command line and the notebooks call these."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

from reviewkit import bench_sheet, outline, publish, review, runner, sections, site
from reviewkit.errors import Faults, InputError, ReviewFileError, gathered
from reviewkit.finding import Findings
from reviewkit.progress import Bar
from reviewkit.review import ReviewFile
from reviewkit.runner import Reviewed
from reviewkit.sections import Section

OUT = Path("site")


@dataclass(frozen=True)
class Published:
    """A review in its published place.

    Parameters
    ----------
    review : Reviewed
    place : pathlib.Path
        The folder that holds its pages.
    """

    review: Reviewed
    place: Path

    @property
    def index(self) -> Path:
        """The review's page."""
        return self.place / "index.html"

    @property
    def findings(self) -> Findings:
        """Everything the bench found."""
        return self.review.findings

    @property
    def is_draft(self) -> bool:
        """Whether a section failed, so that this is not the review to show."""
        return bool(self.review.failed)


def start(folder: str | Path, *, name: str = "", templates: Iterable[str | Path] = ()) -> tuple[Path, ...]:
    """Make a review folder to fill in, with a bench sheet to print.

    Parameters
    ----------
    folder : str or pathlib.Path
        Made if it does not exist.
    name : str
        The device's. Default: the folder's name.
    templates : iterable of str or pathlib.Path
        Folders with section templates to use in place of the kit's own.

    Returns
    -------
    tuple of pathlib.Path
        The files written.

    Raises
    ------
    InputError
        If the folder holds a review already; nothing is written over.
    """
    place = Path(folder)
    if (place / review.FILE).exists():
        raise InputError("there is a review file here already", file=str(place / review.FILE))
    called = name or place.resolve().name.replace("-", " ").capitalize()
    parts = sections.of_kind("section", sections.discover(Path(item) for item in templates))
    texts = {
        review.FILE: outline.review_file(called, parts),
        "bench-sheet.html": bench_sheet.page(called, parts),
        **{file: header + "\n" for part in parts for file, header in part.about.bench.files.items()},
    }
    (place / "logs").mkdir(parents=True, exist_ok=True)
    new = {place / file: text for file, text in texts.items() if not (place / file).exists()}
    for path, text in new.items():
        path.write_text(text, encoding="utf-8")
    return tuple(new)


def run(
    *folders: str | Path,
    out: str | Path = OUT,
    templates: Iterable[str | Path] = (),
    executor: Executor | None = None,
) -> tuple[Published, ...]:
    """Run whole reviews and publish them.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Review folders.
    out : str or pathlib.Path
        Where the published folders go, one for each review.
    templates : iterable of str or pathlib.Path
        Folders with section templates to use in place of the kit's own.
    executor : concurrent.futures.Executor, optional
        What runs the notebooks.

    Returns
    -------
    tuple of Published
        In the order of `folders`. A review of which a section failed is a draft; the last good one
        stays as it was.

    Raises
    ------
    Faults
        Everything wrong with the review files, before anything is run.
    """
    parts = sections.discover(Path(folder) for folder in templates)
    files = _read(folders, parts)
    with publish.site(Path(out)) as place:
        staged = [(file, publish.stage(place, file.name)) for file in files]
        done = [
            _publish(ended, place) for ended in runner.run(staged, parts, executor=executor, progress=Bar())
        ]
        site.write_shelf(place)
    order = {file.folder: number for number, file in enumerate(files)}
    return tuple(sorted(done, key=lambda item: order[item.review.file.folder]))


def _publish(ended: Reviewed, out: Path) -> Published:
    site.write_review(ended)
    return Published(ended, publish.put(ended.staged, out, ended.file.name, good=not ended.failed))


def _read(folders: Sequence[str | Path], parts: Sequence[Section]) -> list[ReviewFile]:
    """Return all review files, or raise everything wrong with any of them."""
    if not folders:
        raise InputError("no review folder given")
    faults: list[InputError] = []
    files = []
    for folder in folders:
        found: list[InputError] = []
        file = _bound(Path(folder), parts, found)
        faults += _named(found, str(folder), many=len(folders) > 1)
        files += [file] if file else []
    with gathered(faults):
        _distinct(files)
    if faults:
        raise Faults(faults)
    return files


def _bound(folder: Path, parts: Sequence[Section], faults: list[InputError]) -> ReviewFile | None:
    values = review.read_values(folder, faults)
    if not values:
        return None
    sections.check_values(values, parts, faults)
    return review.bind(folder, values, faults)


def _named(faults: Iterable[InputError], folder: str, *, many: bool) -> list[InputError]:
    """Put the folder's name in front where there are several."""
    if not many:
        return list(faults)
    return [InputError(fault.message.removesuffix("."), file=folder) for fault in faults]


def _distinct(files: Iterable[ReviewFile]) -> None:
    seen: dict[str, Path] = {}
    for file in files:
        if file.name in seen:
            raise ReviewFileError(
                f"two review folders would both be published as '{file.name}'",
                file=file.folder.name,
                remedy="Give one of the folders another name.",
            )
        seen[file.name] = file.folder


def check(*folders: str | Path, templates: Iterable[str | Path] = ()) -> tuple[InputError, ...]:
    """Return everything about the folders that can be known to be at fault without running them.

    Parameters
    ----------
    *folders : str or pathlib.Path
        Review folders.
    templates : iterable of str or pathlib.Path
        Folders with section templates to use in place of the kit's own.

    Returns
    -------
    tuple of InputError
        Empty if all is well.
    """
    parts = sections.discover(Path(folder) for folder in templates)
    found: list[InputError] = []
    for folder in folders:
        found += _named(_faults(Path(folder), parts), str(folder), many=len(folders) > 1)
    return tuple(found)


def _faults(folder: Path, parts: Sequence[Section]) -> list[InputError]:
    faults: list[InputError] = []
    file = _bound(folder, parts, faults)
    if file is None:
        return faults
    for section in parts:
        with gathered(faults):
            raise Faults(section.faults(file.values, file.folder))
    return faults
