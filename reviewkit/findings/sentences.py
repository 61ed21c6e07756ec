"""The answering sentences of a section, in a file beside its template: to be reworded or translated."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reviewkit.errors import KitError
from reviewkit.metrology import formatting
from reviewkit.system import kit

if TYPE_CHECKING:
    from jinja2 import Environment


CAUTIONS = (
    "A lithium-ion cell that is charged too far, emptied too far, shorted, crushed or too hot can vent, "
    "burn or burst.",
    "Charge it where you see it, on something that does not burn. Heat, swelling, a smell or a hiss: stop, "
    "and keep away from it.",
    "Leave a cell uncharged that has fallen below its data sheet’s floor.",
    "Leave the protection circuit alone.",
    "Check polarity, jack and range before you connect: a meter whose lead sits in the current jack shorts "
    "what it is put across.",
    "What the instructions of cell and device, local rules and an accredited laboratory say comes first.",
)
"""For whoever repeats the measurements."""

SCOPE = "This tells what one sample did on one bench. It certifies nothing."
"""What a review is, and is not."""


FOLDER = "words"
# Only these: a no-break or thin space inside a value is meant to stay.
_BLANKS = re.compile(r"[ \t\r\n]+")
_BEFORE_A_MARK = re.compile(r"(?<=\S) (?=[,.;:)”]+(?:\s|$))")


class Sentences:
    """What one section says, a macro each in ``words/SECTION.j2``.

    Parameters
    ----------
    folders : iterable of pathlib.Path
        Template folders, the first that words a sentence wins. Where the process has been told of some
        (`locations.WORDS_VARIABLE`), those come before the kit's own.

    Raises
    ------
    KitError
        If the kit's own folder, among them, has no such file.
    """

    def __init__(self, section: str, folders: Iterable[Path]) -> None:
        self._file = f"{FOLDER}/{section}.j2"
        self._folders = tuple(folders)
        if not any((folder / self._file).is_file() for folder in self._folders):
            raise KitError(f"the template folders hold no {self._file}; install the kit again.")
        self._macros: list[Any] | None = None

    def _read(self) -> list[Any]:
        # Not before it is first asked: a server that forks has this loaded, its children differ in wording.
        told = os.environ.get(kit.WORDS_VARIABLE, "").split(os.pathsep)
        folders = [*(Path(folder) for folder in told if folder), *self._folders]
        found = [folder for folder in folders if (folder / self._file).is_file()]
        return [_environment(folder).get_template(self._file).module for folder in found]

    def __call__(self, name: str, /, **values: Any) -> str:
        """Return the sentence of that name, its blanks folded to one each.

        Raises
        ------
        KitError
            If no file words it, or what it asks for was not handed over.
        """
        from jinja2 import TemplateError

        if self._macros is None:
            try:
                self._macros = self._read()
            except TemplateError as error:
                raise KitError(f"{self._file} can't be read: {error}.") from error
        macro: Callable[..., str] | None = next(
            (getattr(words, name) for words in self._macros if hasattr(words, name)), None
        )
        if macro is None:
            raise KitError(f"{self._file} words no '{name}'.")
        try:
            return _BEFORE_A_MARK.sub("", _BLANKS.sub(" ", str(macro(**values)))).strip()
        except (TemplateError, TypeError) as error:
            raise KitError(f"{self._file}: '{name}' could not be worded: {error}.") from error


def of(section: str, *, folders: Iterable[Path] = ()) -> Sentences:
    """Return what a section says.

    Parameters
    ----------
    section : str
        "charge", "drain" …: the name of its file in ``templates/words``.
    folders : iterable of pathlib.Path
        Template folders whose wording comes before the kit's own.
    """
    return _of(section, (*folders, kit.kit_folder()))


@lru_cache
def _of(section: str, folders: tuple[Path, ...]) -> Sentences:
    return Sentences(section, folders)


@lru_cache
def _environment(folder: Path) -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    from reviewkit.findings.compiled import Compiled

    made = Environment(
        loader=FileSystemLoader(folder),
        bytecode_cache=Compiled(__file__) if folder == kit.kit_folder() else None,
        undefined=StrictUndefined,
        # Not trimmed: the end of a line parts two words, whatever stands at its end.
        lstrip_blocks=True,
        optimized=False,  # what a filter makes of a text is not kept with the template
        autoescape=False,  # plain text: pages escape what they print
    )
    made.filters |= {
        "quantity": _quantity,
        "number": formatting.number,
        "clock": formatting.clock,
        "listed": formatting.listed,
        "interval": _interval,
        "rough": formatting.rough,
        "capital": _capital,
    }
    return made


def _quantity(value: float, unit: str, uncertainty: float | None = None) -> str:
    return formatting.quantity(value, uncertainty, unit)


def _interval(bounds: tuple[float | None, float | None], unit: str) -> str:
    return formatting.interval(*bounds, unit)


def _capital(text: str) -> str:
    # What a macro gives may begin with the line break behind its head.
    begun = text.lstrip(" \t\r\n")
    return begun[:1].upper() + begun[1:]
