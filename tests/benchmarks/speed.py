"""How quick the kit is, as one table of ratios.

The baseline is measured beside each figure, pair by pair in the same call: the same templates for the same
device through the two command lines a notebook has without the kit, `papermill` and `jupyter nbconvert`, one
after the other. For many devices it is the time of one, times their number. Every run is a command of its
own, in a fresh process, with nothing kept from before unless the row says so, but what Python and Jinja have
compiled of the kit's own files. Ratios are medians over the pairs. Asserts nothing.

    python tests/benchmarks/speed.py [--pairs 3] [--part device change word …]
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import growth
import long_log_page
import long_logs
import on_a_cluster
from bench import ROOT, Bench, timed

FEW, MANY, LISTED, COMPARED = 20, 50, 200, 12


@dataclass(frozen=True)
class Row:
    """One line of the table.

    Parameters
    ----------
    what : str
    figure : str
        As measured.
    wanted : str
    reached : bool
    spread : str
        Lowest and highest of the pairs.
    """

    what: str
    figure: str
    wanted: str
    reached: bool
    spread: str = ""


def _at_least(what: str, ratios: Sequence[float], wanted: float) -> Row:
    figure = median(ratios)
    return Row(what, f"{figure:.1f} ×", f"≥ {wanted:g} ×", figure >= wanted, _spread(ratios, "{:.1f}"))


def _at_most(what: str, values: Sequence[float], wanted: float, unit: str = "×") -> Row:
    figure = median(values)
    return Row(
        what, f"{figure:.2f} {unit}", f"≤ {wanted:.3g} {unit}", figure <= wanted, _spread(values, "{:.2f}")
    )


def _spread(values: Sequence[float], form: str) -> str:
    return f"{form.format(min(values))} … {form.format(max(values))}"


def device(bench: Bench, pairs: int) -> Iterator[Row]:
    """One device from nothing, and again with nothing changed."""
    ratios, again = [], []
    for _ in range(pairs):
        plain = bench.by_command_lines()
        cold = bench.run(bench.devices[:1])
        again.append(bench.run(bench.devices[:1], kept=True))
        ratios.append(plain / cold)
        print(
            f"  one device: {plain:.1f} s by the command lines, {cold:.2f} s, unchanged {again[-1]:.2f} s",
            file=sys.stderr,
        )
    yield _at_least("one device, cold", ratios, 14)
    yield _at_most("nothing changed: the whole command", again, 0.5, "s")


def change(bench: Bench, pairs: int) -> Iterator[Row]:
    """One log of a device changed, beside the run from nothing."""
    for what, options in (
        ("one log changed ÷ cold, libraries ready", ("--stay-ready", "60")),
        ("one log changed ÷ cold, nothing ready", ()),
    ):
        ratios = []
        for number in range(pairs):
            own = bench.devices[number : number + 1]
            cold = bench.run(own)
            if options:
                bench.run(bench.devices[-1:], *options, "--fresh", kept=True)
            bench.change(own[0])
            changed = bench.run(own, *options, kept=True)
            ratios.append(changed / cold)
            print(f"  {what}: {cold:.2f} s, {changed:.2f} s", file=sys.stderr)
        yield _at_most(what, ratios, 1 / 3 if options else 0.4)


def word(bench: Bench, pairs: int) -> Iterator[Row]:
    """A word changed, by `run` with nothing ready; a line of the review file changed, by `check`."""
    worded, checked, shares = [], [], []
    for number in range(pairs):
        own = bench.devices[number : number + 1]
        cold = bench.run(own)
        _reword(own[0])
        worded.append(bench.run(own, "--stay-ready", "0", kept=True))
        bench.check(own[0])
        review = own[0] / "review.yaml"
        review.write_text(
            review.read_text(encoding="utf-8").replace("ambient_C: 21", "ambient_C: 22"), "utf-8"
        )
        checked.append(bench.check(own[0]))
        shares.append(worded[-1] / cold)
        print(
            f"  word: cold {cold:.2f} s, reworded {worded[-1]:.2f} s, check {checked[-1]:.2f} s",
            file=sys.stderr,
        )
    yield _at_most("a word changed, nothing ready: the whole run", worded, 0.9, "s")
    yield _at_most("the same ÷ cold", shares, 0.4)
    yield _at_most("check of four logs, a line of review.yaml changed", checked, 0.7, "s")


def _reword(folder: Path) -> None:
    words = folder / "words.md"
    words.write_text(words.read_text(encoding="utf-8") + "\nOne word more.\n", encoding="utf-8")


def previewed(bench: Bench, pairs: int) -> Iterator[Row]:
    """A preview in Chromium: a word, and a log, saved until it is on the page."""
    sys.path.insert(0, str(ROOT / "tests"))
    from playwright.sync_api import sync_playwright
    from visits import BROWSER, FLAGS

    cold = [bench.run(bench.devices[:1]) for _ in range(pairs)]
    own = bench.devices[-1]
    with sync_playwright() as driver, bench.preview(own) as address:
        browser = driver.chromium.launch(executable_path=BROWSER, args=list(FLAGS))
        page = browser.new_page()
        page.goto(address)
        page.locator("#words").wait_for(timeout=120_000)
        words = (own / "words.md").read_text(encoding="utf-8")
        seen, changed = [], []
        for number in range(pairs + 1):
            time.sleep(1)
            (own / "words.md").write_text(f"{words}\nWord number{number}.\n", encoding="utf-8")
            seen.append(timed(page.locator(f"text=Word number{number}.").wait_for))
        for _ in range(pairs):
            time.sleep(1)
            shown = page.evaluate("document.documentElement.dataset.preview")
            bench.change(own)
            ask = f"() => Number(document.documentElement.dataset.preview) > {shown}"
            changed.append(timed(lambda ask=ask: page.wait_for_function(ask, timeout=120_000)))
        browser.close()
    # The first one loads what all others have.
    yield _at_most("a word saved → on the page, preview running", seen[1:], 0.5, "s")
    shares = [one / other for one, other in zip(changed, cold, strict=True)]
    yield _at_most("one log saved → on the page ÷ a cold run", shares, 1 / 3)


def shelf(bench: Bench, pairs: int) -> Iterator[Row]:
    """Twenty and fifty devices in one command."""
    ratios, growth = [], []
    for _ in range(pairs):
        plain = bench.by_command_lines()
        few, many = bench.run(bench.devices[:FEW]), bench.run(bench.devices)
        ratios.append(FEW * plain / few)
        growth.append(many / few / (MANY / FEW))
        print(
            f"  shelf: {plain:.1f} s for one by the command lines, {few:.1f} s, {many:.1f} s", file=sys.stderr
        )
    yield _at_least(f"{FEW} devices, cold (the baseline: {FEW} times one)", ratios, 38)
    yield _at_most(f"{MANY} devices ÷ {FEW}, over {MANY}/{FEW}", growth, 1.1)


def together(bench: Bench, pairs: int) -> Iterator[Row]:
    """Twelve reviews that have been run, side by side; a review's run beside 199 others on the list."""
    own = bench.devices[:COMPARED]
    bench.run(own)
    compared = [bench.command("compare", *map(str, own), "-o", str(bench.site)) for _ in range(pairs)]
    yield _at_most(f"comparison of {COMPARED} devices that have been run", compared, 3, "s")
    first, again = [], []
    for _ in range(pairs):
        bench.run(own[:1])
        published = bench.site / own[0].name
        alone, listed, known = (_relisted(bench, own[0], published, count) for count in (1, LISTED, LISTED))
        first.append(listed - alone)
        again.append(known - alone)
        shutil.rmtree(bench.site)
    yield _at_most(f"list of {LISTED} beyond the review", again, 1, "s")
    yield _at_most("the same, each read for the first time", first, 1, "s")


def _relisted(bench: Bench, device: Path, published: Path, count: int) -> float:
    """Return how long a new word takes [s] where so many reviews are published."""
    for number in range(1, count):
        place = bench.site / f"listed-{number:03}"
        if not place.exists():
            shutil.copytree(published, place)
    _reword(device)
    return bench.run([device], "--stay-ready", "0", kept=True)


def grown(_: Bench, pairs: int) -> Iterator[Row]:
    """How a run grows: a slope, and what is there before the first; the points by `growth.py` alone."""
    for slope in growth.slopes(pairs):
        yield Row(slope.what, f"{slope.each_s:.2f} s", "", True, f"{slope.first_s:.2f} s at first")


def clustered(_: Bench, __: int) -> Iterator[Row]:
    """200 reviews by two workers, one killed on the way, beside this machine alone."""
    told = on_a_cluster.measured(LISTED)
    yield Row(
        f"{LISTED} reviews by two workers, one killed: published once",
        f"{told.once}",
        f"{LISTED}",
        told.once == LISTED,
    )
    yield _at_most("the same ÷ this machine alone", [told.cluster_s / told.alone_s], 1.5)


def long_charge(_: Bench, pairs: int) -> Iterator[Row]:
    """The analysis of a long charge beside pandas' reading of its logs."""
    for rows, most in long_logs.LIMITS.items():
        with tempfile.TemporaryDirectory() as folder:
            long_logs.write(Path(folder), rows)
            cost = long_logs.cost(Path(folder), rows=rows, spelling="seconds", pairs=pairs)
        yield _at_most(f"analysis of a charge of {rows} rows ÷ pandas reading it", [cost.ratio], most)
    yield _at_most(f"its peak memory at {rows} rows ÷ pandas'", [cost.memory], long_logs.MOST_MEMORY)


def long_page(_: Bench, pairs: int) -> Iterator[Row]:
    """The page of a long log beside that of a short one."""
    with tempfile.TemporaryDirectory() as folder:
        long, short = (long_log_page.published(Path(folder), rows) for rows in (300_000, 3_000))
        times = long_log_page.drawing_times((long.page, short.page), pairs)
    yield _at_most("page of a log of 300,000 rows", [long.size_bytes / 1000], 300, "kB")
    ratios = [one / other for one, other in times]
    yield _at_most("drawing it ÷ drawing one of 3,000 rows", ratios, long_log_page.MOST_RATIO)


PARTS: dict[str, Callable[[Bench, int], Iterable[Row]]] = {
    "device": device,
    "change": change,
    "word": word,
    "preview": previewed,
    "shelf": shelf,
    "together": together,
    "charge": long_charge,
    "page": long_page,
    "growth": grown,
    "cluster": clustered,
}


def told(rows: Iterable[Row]) -> None:
    """Print the rows as they come."""
    print(f"{'what':<60}{'median':>10}{'wanted':>10}{'':>4}  lowest … highest")
    for row in rows:
        print(
            f"{row.what:<60}{row.figure:>10}{row.wanted:>10}{'ok' if row.reached else 'NO':>4}  {row.spread}",
            flush=True,
        )


def measured(parts: Sequence[str], pairs: int) -> Iterator[Row]:
    """Walk the rows of the parts wanted."""
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), MANY)
        for name in parts:
            yield from PARTS[name](bench, pairs)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--part", nargs="*", default=list(PARTS), choices=list(PARTS))
    given = parser.parse_args()
    told(measured(given.part, given.pairs))


if __name__ == "__main__":
    main()
