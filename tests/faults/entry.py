"""What an entry of the corpus is, and the few ways in which a folder is damaged."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

Damage = Callable[[Path], object]
"""Takes a good review folder and damages it."""


@dataclass(frozen=True)
class Refused:
    """A folder that `check` must refuse (exit status 2)."""

    name: str
    damage: Damage
    said: str | tuple[str, ...]
    """The whole message; several where the damage is one that shows in several places."""
    needs: Callable[[], str] = str
    """Says why this system can't hold such a folder; empty where it can."""

    @property
    def messages(self) -> tuple[str, ...]:
        return (self.said,) if isinstance(self.said, str) else self.said


@dataclass(frozen=True)
class Remarked:
    """A folder that is taken, and of which what was amiss must be said where its findings stand."""

    name: str
    damage: Damage
    told: Callable[[Path], Iterable[str]]
    """Gives everything that a reader is told."""
    said: str
    """Part of it; blanks of any kind are alike."""

    def is_told(self, folder: Path) -> bool:
        return any(self.said in " ".join(text.split()) for text in self.told(folder))


def wrote(path: str, content: str | bytes) -> Damage:
    """Another content in place of the file's own."""

    def damage(folder: Path) -> None:
        raw = content if isinstance(content, bytes) else content.encode()
        (folder / path).write_bytes(raw)

    return damage


def changed(path: str, change: Callable[[bytes], bytes]) -> Damage:
    """The file's bytes, changed."""

    def damage(folder: Path) -> None:
        place = folder / path
        before = place.read_bytes()
        after = change(before)
        assert after != before
        place.write_bytes(after)

    return damage


def swapped(path: str, *pairs: tuple[str, str]) -> Damage:
    """Each old piece of text, where it first stands, replaced by its new one."""

    def change(raw: bytes) -> bytes:
        text = raw.decode()
        for old, new in pairs:
            assert old in text, f"'{old}' does not stand in {path}"
            text = text.replace(old, new, 1)
        return text.encode()

    return changed(path, change)


def rows(path: str, change: Callable[[int, list[str]], list[str] | None]) -> Damage:
    """Each row of data changed, or left out where `change` returns None; the heading row stays."""

    def damage(raw: bytes) -> bytes:
        head, *body = raw.decode().splitlines()
        new = (change(number, line.split(",")) for number, line in enumerate(body))
        return "\n".join([head, *(",".join(cells) for cells in new if cells is not None), ""]).encode()

    return changed(path, damage)


def readings(path: str, change: Callable[[float], float], *, digits: int = 4) -> Damage:
    """Each reading of a log changed."""
    return rows(path, lambda _, cells: [cells[0], f"{change(float(cells[1])):.{digits}f}"])


def removed(path: str) -> Damage:
    """The file is gone."""
    return lambda folder: (folder / path).unlink()


def both(*damages: Damage) -> Damage:
    """One damage after the other."""

    def damage(folder: Path) -> None:
        for one in damages:
            one(folder)

    return damage
