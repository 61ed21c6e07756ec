"""Drives a target with inputs that its own coverage suggests; needs the extra `fuzz`.

A target takes bytes. It fails by any exception but the kit's own, by taking longer than `SLOW_S`, or by
memory beyond `MOST_MB`; the input that did it is then kept and named.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

SLOW_S = 30
MOST_MB = 3000
LONGEST = 8192


def main(target: Callable[[bytes], None], *, what: str, seeds: Iterable[bytes], words: Iterable[str]) -> None:
    """Read the command line, fuzz for as long as it says, and leave with libFuzzer's exit status.

    Parameters
    ----------
    target : callable
    what : str
        Named in the last line and in the folder that keeps what was found.
    seeds : iterable of bytes
        Inputs to begin with.
    words : iterable of str
        Pieces worth trying.
    """
    import atheris

    asked = argparse.ArgumentParser(description=f"Coverage-guided fuzzing of {what}.")
    asked.add_argument("--seconds", type=int, default=60)
    asked.add_argument("--again", type=Path, help="run one kept input, and no other")
    asked.add_argument(
        "--keep", type=Path, default=Path(tempfile.gettempdir()) / f"fuzz-{what.replace(' ', '-')}"
    )
    options = asked.parse_args()
    if options.again:
        target(options.again.read_bytes())
        return
    corpus, begun = options.keep / "inputs", options.keep / "seeds"
    corpus.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(begun, ignore_errors=True)
    begun.mkdir()
    for number, seed in enumerate(seeds):
        (begun / f"{number:04d}").write_bytes(seed[:LONGEST])
    listed = options.keep / "words.txt"
    listed.write_text("".join(f'"{_escaped(word)}"\n' for word in dict.fromkeys(words)), encoding="ascii")
    print(f"{what}: {options.seconds} s; what fails is kept in {options.keep}", flush=True)
    limits = (f"-timeout={SLOW_S}", f"-rss_limit_mb={MOST_MB}", f"-max_len={LONGEST}", "-close_fd_mask=0")
    paths = (f"-artifact_prefix={options.keep}/", f"-dict={listed}", str(corpus), str(begun))
    atheris.Setup([sys.argv[0], f"-max_total_time={options.seconds}", *limits, *paths], target)
    atheris.Fuzz()


def _escaped(word: str) -> str:
    """A word as libFuzzer's dictionaries have it."""
    letters = (
        chr(code) if 32 <= code < 127 and chr(code) not in '"\\' else f"\\x{code:02x}"
        for code in word.encode()
    )
    return "".join(letters)
