"""The answering sentences of a section, in a file beside its template: to be reworded or translated."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reviewkit.errors import KitError
from reviewkit.metrology import formatting
from reviewkit.system import locations

if TYPE_CHECKING:
    from jinja2 import Environment

FOLDER = "words"
# Only these: a no-break or thin space inside a value is meant to stay.
_BLANKS = re.compile(r"[ \t\r\n]+")


class Sentences:
    """What one section says, a macro each in ``words/SECTION.j2``.

    Parameters
    ----------
    section : str
    folders : iterable of pathlib.Path
        Template folders, the first that words a sentence wins.
    """

    def __init__(self, section: str, folders: Iterable[Path]) -> None:
        self._file = f"{FOLDER}/{section}.j2"
        self._folders = [folder for folder in folders if (folder / self._file).is_file()]
        if not self._folders:
            raise KitError(f"the template folders hold no {self._file}; install the kit again.")
        self._macros: list[Any] | None = None

    def __call__(self, name: str, /, **values: Any) -> str:
        """Return the sentence of that name, its blanks folded to one each.

        Raises
        ------
        KitError
            If no file words it, or what it asks for was not handed over.
        """
        from jinja2 import TemplateError

        if self._macros is None:
            self._macros = [_environment(folder).get_template(self._file).module for folder in self._folders]
        macro: Callable[..., str] | None = next(
            (getattr(words, name) for words in self._macros if hasattr(words, name)), None
        )
        if macro is None:
            raise KitError(f"{self._file} words no '{name}'.")
        try:
            return _BLANKS.sub(" ", str(macro(**values))).strip()
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
    return _of(section, (*folders, locations.kit_folder()))


@lru_cache
def _of(section: str, folders: tuple[Path, ...]) -> Sentences:
    return Sentences(section, folders)


@lru_cache
def _environment(folder: Path) -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(folder),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        autoescape=False,  # plain text: pages escape what they print
    )
    made.filters |= {
        "quantity": _quantity,
        "number": formatting.number,
        "clock": formatting.clock,
        "listed": formatting.listed,
        "interval": _interval,
        "capital": _capital,
    }
    return made


def _quantity(value: float, unit: str, uncertainty: float | None = None) -> str:
    return formatting.quantity(value, uncertainty, unit)


def _interval(bounds: tuple[float | None, float | None], unit: str) -> str:
    return formatting.interval(*bounds, unit)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
