"""Paths that lead elsewhere, and what lies where a file should."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from .entry import Damage, Refused, both, removed, swapped, wrote
from .log_form import CURRENT, STANDBY, TODO

REVIEW = "review.yaml"


def _no_pipes() -> str:
    return "" if hasattr(os, "mkfifo") else "this system has no named pipes"


def _no_links() -> str:
    return "links need a privilege on this system" if sys.platform == "win32" else ""


def _no_locks() -> str:
    if sys.platform == "win32":
        return "this system has other permissions"
    return "permissions don't bind this user" if os.geteuid() == 0 else ""


def _locked(path: str) -> Damage:
    return lambda folder: (folder / path).chmod(0)


def _link(path: str, target: str) -> Damage:
    def damage(folder: Path) -> None:
        (folder.parent / "outside.csv").write_text("Time (s),Current (A)\n0,1\n1,1\n", encoding="utf-8")
        (folder / path).unlink()
        (folder / path).symlink_to(target.format(folder=folder.parent))

    return damage


def _pipe(path: str) -> Damage:
    def damage(folder: Path) -> None:
        (folder / path).unlink(missing_ok=True)
        os.mkfifo(folder / path)

    return damage


def _folder(path: str) -> Damage:
    return both(removed(path), lambda folder: (folder / path).mkdir())


def _named(path: str) -> Damage:
    return swapped(REVIEW, ("current: logs/current.csv", f"current: '{path}'"))


PLACES = (
    Refused("log: no such file", removed(CURRENT), TODO),
    Refused("log: named in the wrong case or folder", _named("current.csv"), TODO),
    Refused("log: a path that climbs out", _named("../outside.csv"), TODO),
    Refused("log: a path that climbs out on the way", _named("logs/../../outside.csv"), TODO),
    Refused("log: an absolute path", _named("/etc/passwd"), TODO),
    Refused("log: a drive of another system", _named("C:\\\\logs\\\\current.csv".replace("\\\\", "\\")), TODO),
    Refused("log: a network share", _named("//server/share/current.csv"), TODO),
    Refused("log: an address", _named("https://example.invalid/current.csv"), TODO),
    Refused("log: a device", _named("/dev/zero"), TODO),
    Refused("log: an empty path", _named(""), TODO),
    Refused("log: a path of ten thousand characters", _named("a" * 10_000), TODO),
    Refused("log: a path with a NUL in it", swapped(REVIEW, ("current: logs/current.csv", 'current: "logs/\\0.csv"')), TODO),
    Refused("log: a link out of the folder", _link(CURRENT, "{folder}/outside.csv"), TODO, _no_links),
    Refused("log: a link that climbs out", _link(CURRENT, "../../outside.csv"), TODO, _no_links),
    Refused("log: a link to a device", _link(CURRENT, "/dev/zero"), TODO, _no_links),
    Refused("log: a link to itself", _link(CURRENT, "current.csv"), TODO, _no_links),
    Refused("log: a link to nothing", _link(CURRENT, "gone.csv"), TODO, _no_links),
    Refused("log: a pipe", _pipe(CURRENT), TODO, _no_pipes),
    Refused("log: a folder", _folder(CURRENT), TODO),
    Refused("log: not readable", _locked(CURRENT), TODO, _no_locks),
    Refused("drain log: a pipe", _pipe(STANDBY), TODO, _no_pipes),
    Refused("drain log: a link out of the folder", _link(STANDBY, "{folder}/outside.csv"), TODO, _no_links),
    Refused("the folder of logs is a file", both(swapped(REVIEW, ("current: logs/current.csv", "current: readout.csv/current.csv"))), TODO),
    Refused("readout: a path that climbs out", swapped(REVIEW, ("readout_table: readout.csv", "readout_table: ../outside.csv")), TODO),
    Refused("readout: a link out of the folder", _link("readout.csv", "{folder}/outside.csv"), TODO, _no_links),
    Refused("readout: a pipe", _pipe("readout.csv"), TODO, _no_pipes),
    Refused("readout: a folder", _folder("readout.csv"), TODO),
    Refused("transitions: an absolute path", swapped(REVIEW, ("ui_transitions: transitions.csv", "ui_transitions: /etc/passwd")), TODO),
    Refused("transitions: a pipe", _pipe("transitions.csv"), TODO, _no_pipes),
    Refused("transitions: a link out of the folder", _link("transitions.csv", "../outside.csv"), TODO, _no_links),
    Refused("chapters: a pipe", _pipe("chapters.csv"), TODO, _no_pipes),
    Refused("chapters: a folder", _folder("chapters.csv"), TODO),
    Refused("chapters: a link out of the folder", _link("chapters.csv", "../outside.csv"), TODO, _no_links),
    Refused("words: a pipe", _pipe("words.md"), TODO, _no_pipes),
    Refused("words: a folder", _folder("words.md"), TODO),
    Refused("words: a link out of the folder", _link("words.md", "../outside.csv"), TODO, _no_links),
    Refused("review file: no such file", removed(REVIEW), TODO),
    Refused("review file: a folder", _folder(REVIEW), TODO),
    Refused("review file: a pipe", _pipe(REVIEW), TODO, _no_pipes),
    Refused("review file: a link out of the folder", _link(REVIEW, "../outside.csv"), TODO, _no_links),
    Refused("review file: a link to a device", _link(REVIEW, "/dev/zero"), TODO, _no_links),
    Refused("review file: not readable", _locked(REVIEW), TODO, _no_locks),
    Refused("video: a path that climbs out", swapped(REVIEW, ('video: ""', "video: ../film.mp4")), TODO),
    Refused("video: no such file", swapped(REVIEW, ('video: ""', "video: film.mp4")), TODO),
    Refused("video: a file that browsers don't play", both(wrote("film.avi", "x"), swapped(REVIEW, ('video: ""', "video: film.avi"))), TODO),
    Refused("video: an address without encryption", swapped(REVIEW, ('video: ""', "video: http://video.example/hazel")), TODO),
    Refused("video: an address that runs code", swapped(REVIEW, ('video: ""', "video: 'javascript:alert(1)'")), TODO),
    Refused("video: a pipe", both(_pipe("film.mp4"), swapped(REVIEW, ('video: ""', "video: film.mp4"))), TODO, _no_pipes),
    Refused("video: a folder", both(lambda folder: (folder / "film.mp4").mkdir(), swapped(REVIEW, ('video: ""', "video: film.mp4"))), TODO),
)
