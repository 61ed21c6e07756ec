"""Paths that lead elsewhere, and what lies where a file should."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from .entry import Damage, Refused, both, removed, swapped, wrote
from .log_form import CURRENT, STANDBY

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
    Refused(
        "log: no such file",
        removed(CURRENT),
        (
            "logs/current.csv: there is no such file. Check the name, and that the file lies "
            "there and may be read."
        ),
    ),
    Refused(
        "log: named in the wrong case or folder",
        _named("current.csv"),
        ("current.csv: there is no such file. Check the name, and that the file lies there and may be read."),
    ),
    Refused(
        "log: a path that climbs out",
        _named("../outside.csv"),
        (
            "review.yaml, charge_runs[1].current.path: '../outside.csv' does not stay inside the "
            "review folder; expected a path relative to it, such as 'logs/current.csv'."
        ),
    ),
    Refused(
        "log: a path that climbs out on the way",
        _named("logs/../../outside.csv"),
        (
            "review.yaml, charge_runs[1].current.path: 'logs/../../outside.csv' does not stay "
            "inside the review folder; expected a path relative to it, such as "
            "'logs/current.csv'."
        ),
    ),
    Refused(
        "log: an absolute path",
        _named("/etc/passwd"),
        (
            "review.yaml, charge_runs[1].current.path: '/etc/passwd' does not stay inside the "
            "review folder; expected a path relative to it, such as 'logs/current.csv'."
        ),
    ),
    Refused(
        "log: a drive of another system",
        _named("C:\\\\logs\\\\current.csv".replace("\\\\", "\\")),
        (
            "review.yaml, charge_runs[1].current.path: 'C:/logs/current.csv' does not stay inside"
            " the review folder; expected a path relative to it, such as 'logs/current.csv'."
        ),
    ),
    Refused(
        "log: a network share",
        _named("//server/share/current.csv"),
        (
            "review.yaml, charge_runs[1].current.path: '//server/share/current.csv' does not stay"
            " inside the review folder; expected a path relative to it, such as "
            "'logs/current.csv'."
        ),
    ),
    Refused(
        "log: an address",
        _named("https://example.invalid/current.csv"),
        (
            "review.yaml, charge_runs[1].current.path: 'https://example.invalid/current.csv' does"
            " not stay inside the review folder; expected a path relative to it, such as "
            "'logs/current.csv'."
        ),
    ),
    Refused(
        "log: a device",
        _named("/dev/zero"),
        (
            "review.yaml, charge_runs[1].current.path: '/dev/zero' does not stay inside the "
            "review folder; expected a path relative to it, such as 'logs/current.csv'."
        ),
    ),
    Refused(
        "log: an empty path",
        _named(""),
        (
            "review.yaml, charge_runs[1].current.path: '' does not stay inside the review folder;"
            " expected a path relative to it, such as 'logs/current.csv'."
        ),
    ),
    Refused(
        "log: a path of ten thousand characters",
        _named("a" * 10_000),
        (
            "review.yaml, charge_runs[1].current.path: "
            "'aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa…' is no path; expected"
            " such as 'logs/current.csv'."
        ),
    ),
    Refused(
        "log: a path with a NUL in it",
        swapped(REVIEW, ("current: logs/current.csv", 'current: "logs/\\0.csv"')),
        (
            "review.yaml, charge_runs[1].current.path: 'logs/\x00.csv…' is no path; expected such as"
            " 'logs/current.csv'."
        ),
    ),
    Refused(
        "log: a link out of the folder",
        _link(CURRENT, "{folder}/outside.csv"),
        "logs/current.csv: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "log: a link that climbs out",
        _link(CURRENT, "../../outside.csv"),
        "logs/current.csv: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "log: a link to a device",
        _link(CURRENT, "/dev/zero"),
        "logs/current.csv: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "log: a link to itself",
        _link(CURRENT, "current.csv"),
        (
            "logs/current.csv: the link leads nowhere. Check the name, and that the file lies "
            "there and may be read."
        ),
        _no_links,
    ),
    Refused(
        "log: a link to nothing",
        _link(CURRENT, "gone.csv"),
        (
            "logs/current.csv: there is no such file. Check the name, and that the file lies "
            "there and may be read."
        ),
        _no_links,
    ),
    Refused(
        "log: a pipe",
        _pipe(CURRENT),
        (
            "logs/current.csv: this is no file but a device or a pipe. Check the name, and that "
            "the file lies there and may be read."
        ),
        _no_pipes,
    ),
    Refused(
        "log: a folder",
        _folder(CURRENT),
        ("logs/current.csv: this is a folder. Check the name, and that the file lies there and may be read."),
    ),
    Refused(
        "log: not readable",
        _locked(CURRENT),
        "logs/current.csv: the file cannot be read (Permission denied). Allow yourself to read it.",
        _no_locks,
    ),
    Refused(
        "drain log: a pipe",
        _pipe(STANDBY),
        (
            "logs/standby.csv: this is no file but a device or a pipe. Check the name, and that "
            "the file lies there and may be read."
        ),
        _no_pipes,
    ),
    Refused(
        "drain log: a link out of the folder",
        _link(STANDBY, "{folder}/outside.csv"),
        "logs/standby.csv: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "the folder of logs is a file",
        both(swapped(REVIEW, ("current: logs/current.csv", "current: readout.csv/current.csv"))),
        (
            "readout.csv/current.csv: there is no such file. Check the name, and that the file "
            "lies there and may be read."
        ),
    ),
    Refused(
        "readout: a path that climbs out",
        swapped(REVIEW, ("readout_table: readout.csv", "readout_table: ../outside.csv")),
        (
            "review.yaml, readout_table: '../outside.csv' does not stay inside the review folder;"
            " expected a path relative to it, such as 'logs/current.csv'."
        ),
    ),
    Refused(
        "readout: a link out of the folder",
        _link("readout.csv", "{folder}/outside.csv"),
        "readout.csv: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "readout: a pipe",
        _pipe("readout.csv"),
        (
            "readout.csv: this is no file but a device or a pipe. Check the name, and that the "
            "file lies there and may be read."
        ),
        _no_pipes,
    ),
    Refused(
        "readout: a folder",
        _folder("readout.csv"),
        ("readout.csv: this is a folder. Check the name, and that the file lies there and may be read."),
    ),
    Refused(
        "transitions: an absolute path",
        swapped(REVIEW, ("ui_transitions: transitions.csv", "ui_transitions: /etc/passwd")),
        (
            "review.yaml, ui_transitions: '/etc/passwd' does not stay inside the review folder; "
            "expected a path relative to it, such as 'logs/current.csv'."
        ),
    ),
    Refused(
        "transitions: a pipe",
        _pipe("transitions.csv"),
        (
            "transitions.csv: this is no file but a device or a pipe. Check the name, and that "
            "the file lies there and may be read."
        ),
        _no_pipes,
    ),
    Refused(
        "transitions: a link out of the folder",
        _link("transitions.csv", "../outside.csv"),
        "transitions.csv: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "chapters: a pipe",
        _pipe("chapters.csv"),
        (
            "chapters.csv: this is no file but a device or a pipe. Check the name, and that the "
            "file lies there and may be read."
        ),
        _no_pipes,
    ),
    Refused(
        "chapters: a folder",
        _folder("chapters.csv"),
        ("chapters.csv: this is a folder. Check the name, and that the file lies there and may be read."),
    ),
    Refused(
        "chapters: a link out of the folder",
        _link("chapters.csv", "../outside.csv"),
        "chapters.csv: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "words: a pipe",
        _pipe("words.md"),
        (
            "words.md: this is no file but a device or a pipe. Check the name, and that the file "
            "lies there and may be read."
        ),
        _no_pipes,
    ),
    Refused(
        "words: a folder",
        _folder("words.md"),
        ("words.md: this is a folder. Check the name, and that the file lies there and may be read."),
    ),
    Refused(
        "words: a link out of the folder",
        _link("words.md", "../outside.csv"),
        "words.md: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "review file: no such file",
        removed(REVIEW),
        "review.yaml: no such file. 'reviewkit start FOLDER' writes one to fill in.",
    ),
    Refused(
        "review file: a folder",
        _folder(REVIEW),
        ("review.yaml: this is a folder. Check the name, and that the file lies there and may be read."),
    ),
    Refused(
        "review file: a pipe",
        _pipe(REVIEW),
        (
            "review.yaml: this is no file but a device or a pipe. Check the name, and that the "
            "file lies there and may be read."
        ),
        _no_pipes,
    ),
    Refused(
        "review file: a link out of the folder",
        _link(REVIEW, "../outside.csv"),
        "review.yaml: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "review file: a link to a device",
        _link(REVIEW, "/dev/zero"),
        "review.yaml: the link leads out of the review folder. Copy the file into it.",
        _no_links,
    ),
    Refused(
        "review file: not readable",
        _locked(REVIEW),
        "review.yaml: the file cannot be read (Permission denied). Allow yourself to read it.",
        _no_locks,
    ),
    Refused(
        "video: a path that climbs out",
        swapped(REVIEW, ('video: ""', "video: ../film.mp4")),
        (
            "../film.mp4: the path leads out of the review folder; expected a path inside it, "
            "such as 'logs/current.csv'."
        ),
    ),
    Refused(
        "video: no such file",
        swapped(REVIEW, ('video: ""', "video: film.mp4")),
        ("film.mp4: there is no such file. Check the name, and that the file lies there and may be read."),
    ),
    Refused(
        "video: a file that browsers don't play",
        both(wrote("film.avi", "x"), swapped(REVIEW, ('video: ""', "video: film.avi"))),
        (
            "review.yaml, review.video: 'film.avi' is no video; expected an address with https://"
            " or a file (.mp4, .m4v, .webm, .ogv) in the review folder. Leave it empty where "
            "there is none."
        ),
    ),
    Refused(
        "video: an address without encryption",
        swapped(REVIEW, ('video: ""', "video: http://video.example/hazel")),
        (
            "review.yaml, review.video: 'http://video.example/hazel' is no video; expected an "
            "address with https:// or a file (.mp4, .m4v, .webm, .ogv) in the review folder. "
            "Leave it empty where there is none."
        ),
    ),
    Refused(
        "video: an address that runs code",
        swapped(REVIEW, ('video: ""', "video: 'javascript:alert(1)'")),
        (
            "review.yaml, review.video: 'javascript:alert(1)' is no video; expected an address "
            "with https:// or a file (.mp4, .m4v, .webm, .ogv) in the review folder. Leave it "
            "empty where there is none."
        ),
    ),
    Refused(
        "video: a pipe",
        both(_pipe("film.mp4"), swapped(REVIEW, ('video: ""', "video: film.mp4"))),
        (
            "film.mp4: this is no file but a device or a pipe. Check the name, and that the file "
            "lies there and may be read."
        ),
        _no_pipes,
    ),
    Refused(
        "video: a folder",
        both(lambda folder: (folder / "film.mp4").mkdir(), swapped(REVIEW, ('video: ""', "video: film.mp4"))),
        ("film.mp4: this is a folder. Check the name, and that the file lies there and may be read."),
    ),
)
