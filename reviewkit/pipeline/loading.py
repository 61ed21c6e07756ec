"""Reads any number of review folders, tells everything wrong with them, and what takes no part."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from reviewkit.errors import Faults, InputError, ReviewFileError, add, gathered
from reviewkit.execution.papermill_run import Task
from reviewkit.findings import finding_keys
from reviewkit.findings.finding_keys import FindingKeys
from reviewkit.pipeline import cache
from reviewkit.review import author_text, chapters, fingerprints, review_file, video
from reviewkit.review.review_file import FILE, ReviewFile, Written
from reviewkit.schema import instruments
from reviewkit.schema.instruments import InstrumentError
from reviewkit.sections import template
from reviewkit.sections.template import Section


def read(
    folders: Sequence[str | Path],
    parts: Sequence[Section],
    *,
    reserved: Iterable[str] = (),
    above: bool = True,
) -> list[ReviewFile]:
    """Return the review files of all folders, with the fingerprints of the files that they name.

    Parameters
    ----------
    folders : sequence of str or pathlib.Path
    parts : sequence of Section
        All templates: between them they declare which keys there are.
    reserved : iterable of str
        Names that no review may be published under.
    above : bool
        Whether meters may be declared above the folders too.

    Raises
    ------
    Faults
        Everything wrong with any of them.
    """
    if not folders:
        raise InputError("no review folder given")
    found: list[InputError] = []
    files = []
    for folder, own, early, written, refused in _opened(folders, parts, above=above):
        file = _bound(folder, written, parts, own, refused)
        with gathered(own):
            # Two were read by now: they are to be what was read.
            own += fingerprints.changed(file.seen, early) if file else ()
        found += _named(own, folder, folders)
        files += [file] if file else []
    _distinct(files, reserved, found)
    if found:
        raise Faults(found)
    return files


def faults(
    folders: Sequence[str | Path],
    parts: Sequence[Section],
    *,
    reserved: Iterable[str] = (),
    judge: Callable[[ReviewFile], Iterable[InputError]] | None = None,
) -> list[InputError]:
    """Return everything wrong with the folders that can be known without running a section.

    Parameters
    ----------
    parts : sequence of Section
        Their own checks read the files that the review names.
    reserved : iterable of str
        Names that no review may be published under.
    judge : callable, optional
        Returns what else is at fault with one.
    """
    found: list[InputError] = []
    files = []
    bodies = template.of_kind("section", parts)
    for folder, own, _, written, refused in _opened(folders, parts):
        file = _bound(folder, written, parts, own, refused)
        if file:
            for section in parts:
                add(own, _section_faults(section, file))
            add(own, video.faults(file))
            add(own, author_text.faults(file.folder, _keys(file, bodies)))
            with gathered(own):
                add(own, judge(file) if judge else ())
            files.append(file)
        found += _named(_without_doubles(own), folder, folders)
    _distinct(files, reserved, found)
    return found


def _without_doubles(found: Sequence[InputError]) -> list[InputError]:
    """Leave out what is said twice: of a meter that isn't there, of a path that leads elsewhere."""
    absent = {fault.place for fault in found if isinstance(fault, InstrumentError)}
    found = [fault for fault in found if isinstance(fault, InstrumentError) or fault.place not in absent]
    said = {fault.file for fault in found} | {
        fault.place.removesuffix(".path")
        for fault in found
        if not isinstance(fault, review_file.OutsideError)
    }
    return [
        fault
        for fault in found
        if not (isinstance(fault, review_file.OutsideError) and said & {fault.named, fault.place})
    ]


_Opened = tuple[Path, list[InputError], Mapping[str, str], Written, list[InputError]]


def _opened(
    folders: Sequence[str | Path], parts: Sequence[Section], *, above: bool = True
) -> Iterator[_Opened]:
    """Walk each folder: what is wrong with its review file, early fingerprints, values, values refused."""
    opened = []
    for folder in map(Path, folders):
        own: list[InputError] = []
        early = fingerprints.there(folder, (review_file.FILE, chapters.FILE))
        opened.append((folder, own, early, review_file.written(folder, own, above=above)))
    # All at once: asking another process takes longer than judging.
    every = _refused([written.values for *_, written in opened], parts)
    for (folder, own, early, written), refused in zip(opened, every, strict=True):
        yield folder, own, early, written, refused


def _section_faults(section: Section, file: ReviewFile) -> Sequence[InputError]:
    """Return what a section's own check finds; where it found nothing in the same before, it is not asked.

    What reads logs takes longer to load than all else, and a reviewer checks after every line.
    """
    key = _check_key(section, file)
    passed = cache.Store("checks")
    if key and passed.read(key) is not None:
        return ()
    found = section.faults(file.values, file.folder)
    if key and not found and key == _check_key(section, file):
        passed.write({key: {}})
    return found


def _check_key(section: Section, file: ReviewFile) -> str:
    """Return the key of what a section's check says; empty where it is not the kit's, or a file is gone."""
    own = section.own(file.values)
    if not all(name.startswith("reviewkit.") for name in (section.about.inputs, section.about.check)):
        return ""
    try:
        named = sorted(review_file.named_in(own, file.folder))
        return cache.key(Task(section.path, own, file.folder), fingerprints.fingerprints(file.folder, named))
    except InputError:
        return ""


def _refused(all_values: Sequence[Mapping[str, Any]], parts: Sequence[Section]) -> list[list[InputError]]:
    """Return what the sections' models refuse of the values of each folder.

    What a section's did not refuse once need not be asked again: its libraries take longer to load than all
    else.
    """
    passed = cache.Store("values")
    keys = [[cache.values_key(part.own(values), [part]) for part in parts] for values in all_values]
    known = {key for key in {key for own in keys for key in own if key} if passed.read(key) is not None}
    asked = [part for index, part in enumerate(parts) if not all(own[index] in known for own in keys)]
    if not asked:
        return [[] for _ in all_values]
    answers = template.refused(all_values, asked)
    fit = (key for own, refused in zip(keys, answers, strict=True) if not refused for key in own)
    passed.write({key: {} for key in fit if key and key not in known})
    return answers


def _bound(
    folder: Path,
    written: Written,
    parts: Sequence[Section],
    found: list[InputError],
    refused: Iterable[InputError],
) -> ReviewFile | None:
    if not written.values:
        return None
    found += template.unknown_keys(written.values, parts)
    add(found, refused)
    found[:] = _without_doubles(found)
    file = review_file.bind(folder, written.values, found, written.meters)
    if file:
        bodies = template.of_kind("section", parts)
        add(found, _strange_chapters(file, bodies))
        add(found, review_file.strange_claims(file, _keys(file, bodies)))
    return file


def _keys(file: ReviewFile, parts: Sequence[Section]) -> FindingKeys:
    """Return what is known of the findings' keys before a run.

    What stands in the middle of a key is what somebody called something; a section that has been given
    nothing of its own names it by itself.
    """
    finds = {start: part.about.finds for part in parts for start in part.prefixes}
    given = [name for name, value in file.values.items() if value]
    takers = [[part for part in parts if name in part.names] for name in given]
    fed = [only for only, *others in filter(None, takers) if not others]
    labels = finding_keys.labels(file.values)
    return FindingKeys(finds, {start: labels for part in fed for start in part.prefixes})


def _strange_chapters(file: ReviewFile, parts: Sequence[Section]) -> list[InputError]:
    """Return what is known before a run of chapters about nothing there is."""
    return chapters.unknown(
        file.chapters,
        names={section.name for section in parts},
        prefixes=_prefixes(parts),
        known=_keys(file, parts),
    )


def _prefixes(parts: Iterable[Section]) -> set[str]:
    """Return what the sections' findings start with."""
    return {prefix for section in parts for prefix in section.prefixes}


def films(files: Sequence[ReviewFile]) -> None:
    """Make sure that the video beside each review is one that its pages can show.

    Raises
    ------
    Faults
    """
    refuse(files, video.faults)


def refuse(files: Sequence[ReviewFile], judge: Callable[[ReviewFile], Iterable[InputError]]) -> None:
    """Make sure that nothing is at fault with any review.

    Parameters
    ----------
    judge : callable
        Returns what is at fault with one.

    Raises
    ------
    Faults
    """
    found: list[InputError] = []
    for file in files:
        found += _named(judge(file), file.folder, [item.folder for item in files])
    if found:
        raise Faults(found)


def _named(
    found: Iterable[InputError], folder: str | Path, folders: Sequence[str | Path]
) -> list[InputError]:
    """Put the folder's name in front where there are several."""
    if len(folders) == 1:
        return list(found)
    return [InputError(fault.message.removesuffix("."), file=str(folder)) for fault in found]


def _distinct(files: Iterable[ReviewFile], reserved: Iterable[str], found: list[InputError]) -> None:
    taken = dict.fromkeys(reserved, "what all reviews share")
    for file in files:
        if file.name in taken:
            fault = ReviewFileError(
                f"{taken[file.name]} is published as '{file.name}' already",
                file=str(file.folder),
                remedy="Give the folder another name.",
            )
            found.append(fault)
        taken.setdefault(file.name, f"'{file.folder}'")


_KNOWN = frozenset({"bench-sheet.html", "keys.json", instruments.FILE})
_NAMED = 8
"""Most files or keys that a remark names one by one."""


def is_nothing_connected(file: ReviewFile, parts: Sequence[Section]) -> bool:
    """Whether no section has anything of its own to work on."""
    return len(list(_idle(file, parts))) == len(template.of_kind("section", parts))


def remarks(file: ReviewFile, parts: Sequence[Section]) -> Iterator[str]:
    """Walk what to look at: tables begun, other files, sections whose keys are still to be filled in.

    Parameters
    ----------
    file : ReviewFile
    parts : sequence of Section
        All templates.
    """
    # A section's notebook that lies here is filled in by hand, beside the review file.
    left = set(_files(file)) - {section.path.name for section in parts}
    for section in template.of_kind("section", parts):
        for key, table in section.about.bench.tables.items():
            if table in left:
                left.remove(table)
                yield f"{table} lies there and nothing names it: '{key}: {table}' in {FILE} connects it."
    if left:
        yield f"nothing names {_listed(sorted(left))}: name them in {FILE}, or move them out of the folder."
    for section, keys in _idle(file, parts):
        yield f"{section.title} has nothing to work on: {_listed(keys)} in {FILE} still to fill in."


def _files(file: ReviewFile) -> Iterator[str]:
    known = {*file.files, Path(file.review.video).as_posix(), *_KNOWN, *author_text.pictured(file.folder)}
    for above, folders, names in os.walk(file.folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in names:
            path = Path(above, name)
            seen = path.relative_to(file.folder).as_posix()
            if seen not in known and not name.startswith(".") and path.is_file():
                yield seen


def _idle(file: ReviewFile, parts: Sequence[Section]) -> Iterator[tuple[Section, list[str]]]:
    """Walk the sections that have none of the keys that are theirs alone, with those keys."""
    bodies = template.of_kind("section", parts)
    shared = Counter(name for section in bodies for name in section.names)
    for section in bodies:
        # A key with a default of its own says how, not what.
        own = [item.name for item in section.parameters if shared[item.name] == 1 and not item.default]
        if own and not any(_is_filled(file.values.get(name)) for name in own):
            yield section, own


def _is_filled(value: object) -> bool:
    return value not in (None, "", {}, [], ())


def _listed(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
