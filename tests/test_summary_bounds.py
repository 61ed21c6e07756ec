"""What the summary rounds, judges, counts and warns of: each on both sides of its bound."""

from __future__ import annotations

from typing import Any

import pytest

from reviewkit.findings import Finding, Findings
from reviewkit.metrology import Component
from reviewkit.metrology.conformity import Limit
from reviewkit.summary import evidence, opening, spoken
from reviewkit.summary.record import Record


def found(key: str, value: object, unit: str = "", **more: Any) -> Finding:
    return Finding(key=key, label=key.rpartition(".")[2].replace("_", " "), value=value, unit=unit, **more)


def record(*items: Finding, **more: Any) -> Record:
    return Record(Findings(items), **more)


def plain(text: str) -> str:
    for space in "\u00a0\u202f\u2009":
        text = text.replace(space, " ")
    return text


@pytest.mark.parametrize(
    ("value", "unit", "more", "up", "text"),
    [
        (4.1853, "V", 0, False, "4.19 V"),
        (0.0541, "V", 0, False, "0.054 V"),
        (0.0541, "V", 1, False, "0.0541 V"),
        (1.004, "V", 0, False, "1.00 V"),
        (0.999, "A", 0, False, "1.00 A"),
        (2.0, "A", 0, True, "2.0 A"),
        (2.001, "A", 0, True, "2.1 A"),
        (-2.04, "A", 0, False, "−2.0 A"),
        (0.0, "A", 0, False, "0 A"),
        (97.3, "%", 0, False, "97 %"),
        (-1.5, "V", 0, False, "−1.50 V"),
    ],
)
def test_a_number_has_two_digits_and_a_cells_voltage_three(
    value: float, unit: str, more: int, up: bool, text: str
) -> None:
    assert plain(spoken.rounded(value, unit, more=more, up=up)) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (3599, "60 min"),
        (3600, "1 h"),
        (60, "5 min"),
        (440, "5 min"),
        (460, "10 min"),
        (15360, "4¼ h"),
        (16200, "4½ h"),
        (17100, "4¾ h"),
        (17600, "5 h"),
        (18449, "5 h"),
        (18451, "5¼ h"),
    ],
)
def test_a_time_is_said_to_a_quarter_of_an_hour_and_a_short_one_to_five_minutes(
    seconds: float, text: str
) -> None:
    assert plain(spoken.rounded(seconds, "s")) == text


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [
        (50, 49, 51, "50 days"),
        (89.9, 89, 90, "90 days"),
        (91, 90, 92, "3 months"),
        (729, 720, 738, "24 months"),
        (731, 725, 738, "2 years"),
        (100, 91, 110, "3.3 months"),
        (100, 60, 200, "2 to 7 months"),
        (50, 44, 54.1, "44 to 54 days"),
        (50, 45.1, 55, "50 days"),
        (1100, 550, 1650, "1½ to 4½ years"),
        (800, 100, 900, "½ to 2½ years"),
        (800, 50, 900, "0 to 2½ years"),
    ],
)
def test_days_are_said_in_days_months_and_years(value: float, low: float, high: float, text: str) -> None:
    """From three months of 30.44 days and from two years of 365.25 on; one figure up to a fifth wide."""
    assert plain(spoken.days_said(found("drain.x.days_on_shelf", value, "d", low=low, high=high))) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(4.2531, "4.253 V"), (4.2504, "4.2504 V"), (4.25004, "4.25004 V"), (4.25, "4.25 V"), (4.3, "4.30 V")],
)
def test_a_judged_value_has_up_to_three_digits_more_to_tell_it_from_its_limit(
    value: float, text: str
) -> None:
    limit = Limit(4.15, 4.25, "x")
    assert plain(spoken.apart(found("charge.hold_voltage", value, "V", limit=limit))) == text
    # What no three digits tell apart is told as the finding has it.
    item = found("charge.hold_voltage", 4.2500004, "V", limit=limit, uncertainty=0.01)
    assert spoken.apart(item) == item.text


def test_a_source_is_named_by_a_charges_key_of_three_parts() -> None:
    assert spoken.source_of("charge.wall_adapter.hold_voltage") == "wall adapter"
    for key in ("charge.hold_voltage", "drain.standby.mean", "charge.a.b.c"):
        assert spoken.source_of(key) == ""


@pytest.mark.parametrize(
    ("before", "now", "uncertain", "what"),
    [
        (1.0, 1.49, (0.3, 0.4), ""),
        (1.0, 1.51, (0.3, 0.4), "by more than the uncertainty"),
        (1.0, 1.31, (0.3, None), "by more than the uncertainty"),
        (1.0, 1.29, (0.3, None), ""),
        (1.0, 1.29, (None, 0.3), ""),
        (1.0, 1.31, (None, 0.3), "by more than the uncertainty"),
        ("a", "b", (None, None), "another result"),
        ("a", "a", (None, None), ""),
        (True, False, (None, None), "another result"),
        (1.0, 1.0, (None, None), ""),
        (1.0, 1.001, (None, None), "by more than the uncertainty"),
    ],
)
def test_a_finding_has_changed_by_more_than_both_uncertainties_or_to_another_result(
    before: object, now: object, uncertain: tuple[float | None, float | None], what: str
) -> None:
    one, other = (
        found("a.b", value, uncertainty=doubt) for value, doubt in zip((before, now), uncertain, strict=True)
    )
    assert evidence._difference(one, other) == what
    judged = found("a.b", now, uncertainty=uncertain[1], verdict="pass")
    assert "now" in evidence._difference(one, judged)


@pytest.mark.parametrize(("number", "missed"), [(0, False), (1, False), (2, True)])
def test_a_first_edition_misses_none_before_it(number: int, missed: bool) -> None:
    assert ("does not lie beside" in str(evidence._changes(record(review={"edition": number})))) == missed
    assert record().edition == 1


LIMIT = Limit(1.0, 2.0, "x")


@pytest.mark.parametrize(
    ("value", "low", "high", "verdict"),
    [
        (1.5, 1.0, 2.0, "pass"),
        (1.5, 0.9, 2.0, "inconclusive"),
        (1.5, 1.0, 2.1, "inconclusive"),
        (0.5, 0.4, 0.9, "fail"),
        (0.5, 0.4, 1.0, "inconclusive"),
        (3.0, 2.1, 4.0, "fail"),
        (3.0, 2.0, 4.0, "inconclusive"),
        (1.5, None, None, "pass"),
        (2.5, None, None, "fail"),
    ],
)
def test_a_claim_is_judged_by_the_interval_where_there_is_no_budget(
    value: float, low: float | None, high: float | None, verdict: str
) -> None:
    assert evidence._verdict(found("a.b", value, "V", low=low, high=high), LIMIT) == verdict


def test_a_claim_is_judged_by_its_budget_where_there_is_one_and_never_beyond_the_section() -> None:
    budget = (Component("x", 0.01, "V"),)
    assert evidence._verdict(found("a.b", 1.5, "V", low=0.0, high=9.0, budget=budget), LIMIT) == "pass"
    unsure = {"verdict": "inconclusive", "limit": LIMIT}
    assert evidence._verdict(found("a.b", 1.5, "V", **unsure), LIMIT) == "inconclusive"
    assert evidence._verdict(found("a.b", 1.5, "V", **unsure), Limit(1.0, 3.0, "y")) == "pass"
    assert evidence._verdict(found("a.b", 1.5, "V", verdict="inconclusive"), LIMIT) == "inconclusive"
    assert evidence._verdict(found("a.b", 1.5, "V", verdict="pass", limit=LIMIT), LIMIT) == "pass"


@pytest.mark.parametrize(
    ("limit", "unit", "low"),
    [
        (Limit(None, 3.0, ""), "A", -3.0),
        (Limit(None, 0.0, ""), "A", 0.0),
        (Limit(None, -1.0, ""), "A", None),
        (Limit(None, 3.0, ""), "degC", None),
        (Limit(1.0, 3.0, ""), "A", 1.0),
    ],
)
def test_at_most_is_held_against_the_amount(limit: Limit, unit: str, low: float | None) -> None:
    assert evidence._either_way(limit, unit).low == low


def test_large_whole_numbers_are_grouped_from_ten_thousand_on() -> None:
    assert evidence._grouped(9999) == 9999
    assert plain(str(evidence._grouped(10000))) == "10 000"
    assert evidence._grouped("60000") == "60000"


@pytest.mark.parametrize(
    ("fewest", "most", "soon", "surely"),
    [
        (89.0, 200.0, True, False),
        (91.0, 200.0, False, False),
        (60.0, 89.0, True, True),
        (None, 200.0, True, False),
        (91.0, None, False, False),
        (89.0, None, True, False),
        (None, 89.0, True, True),
    ],
)
def test_a_cell_that_may_be_empty_within_90_days_calls_for_a_caution(
    fewest: float | None, most: float | None, soon: bool, surely: bool
) -> None:
    item = found("drain.standby.days_to_empty", None, "d", low=fewest, high=most)
    assert (opening._soon(item), opening._surely_soon(item)) == (soon, surely)
    for days, told in ((89.0, True), (91.0, False)):
        bare = found("drain.standby.days_to_empty", days, "d")
        assert (opening._soon(bare), opening._surely_soon(bare)) == (told, told)


@pytest.mark.parametrize(
    ("rate", "high", "fast"), [(3.0, None, False), (3.1, None, True), (2.0, 3.1, True), (3.5, 3.0, False)]
)
def test_more_than_three_flashes_a_second_are_not_ruled_out(
    rate: float, high: float | None, fast: bool
) -> None:
    """WCAG 2.2, 2.3.1."""
    assert opening._flashes_fast(found("ui.rate", rate, "Hz", high=high)) == fast


@pytest.mark.parametrize(
    ("value", "verdict", "late", "early"),
    [
        (0.05, "fail", True, False),
        (0.4, "fail", False, True),
        (0.06, "fail", False, True),
        (0.05, "pass", False, False),
    ],
)
def test_a_charge_stops_late_below_its_range_and_early_above(
    value: float, verdict: Any, late: bool, early: bool
) -> None:
    item = found("charge.termination_current", value, "A", limit=Limit(0.06, 0.3, "x"), verdict=verdict)
    assert (opening._stops(item, late=True), opening._stops(item, late=False)) == (late, early)
    assert not opening._endangers(item)
    assert opening._endangers(found("charge.hold_voltage", value, "V", verdict="fail"))


@pytest.mark.parametrize(
    ("value", "on", "draws"), [(0.1, True, False), (-0.1, False, True), (0.0, False, False)]
)
def test_a_current_after_the_end_charges_on_or_draws(value: float, on: bool, draws: bool) -> None:
    item = found("charge.current_after", value, "A", verdict="fail")
    assert (opening._charges_on(item), opening._draws_on(item)) == (on, draws)
    passed = found("charge.current_after", value, "A", verdict="pass")
    assert not opening._charges_on(passed)
    assert not opening._draws_on(passed)


def test_what_is_outside_is_named_up_to_three_and_the_rest_counted() -> None:
    items = [
        found(f"drain.{name}.mean", -1.0 if name == "a" else 1.0, "A", verdict="fail") for name in "abcde"
    ]
    named = opening._named(items)
    assert (len(named["told"]), named["more"]) == (3, 2)
    assert [one["negative"] for one in named["told"]] == [True, False, False]
    both = found("a.b", 0.5, "A", limit=Limit(-1.0, 1.0, "x"))
    apart = found("a.b", 0.5, "A", limit=Limit(-2.0, 1.0, "x"))
    assert opening._span(both) != opening._span(apart)
    assert "−1" not in plain(opening._span(both))
    assert "−2" in plain(opening._span(apart))


def test_how_long_it_lasts_is_said_with_its_own_loss_else_only_if_within_two_years() -> None:
    mean = found("drain.standby.mean", 1e-4, "A")
    for days, told in ((729.0, True), (731.0, False)):
        empty = found("drain.standby.days_to_empty", days, "d")
        assert bool(opening._lasts(record(mean, empty), mean)) == told
        shelf = found("drain.standby.days_on_shelf", days, "d")
        assert "days_on_shelf" in opening._lasts(record(mean, empty, shelf), mean)
    other = found("drain.locked.days_to_empty", 10.0, "d")
    assert opening._lasts(record(mean, other), mean) == ""


def test_what_a_reviewer_cut_on_purpose_is_that_of_its_own_source() -> None:
    runs = [
        {"source": "a", "cut_on_purpose": "mains"},
        {"source": "b", "cut_on_purpose": "cable"},
        {"source": "c"},
    ]
    one = record(declared={"charge_runs": runs})
    assert [one.cut_on_purpose(source) for source in ("a", "b", "c", "")] == ["mains", "cable", "", "mains"]
    missing = record(
        found("a.b", None, verdict="not tested", note="why"), found("a.c", 1.0, verdict="pass")
    ).missing
    assert {why: [item.key for item in items] for why, items in missing.items()} == {"why": ["a.b"]}
    assert [
        item.key
        for item in record(found("a.x.mean", 1.0), found("a.x.means", 1.0), found("b.x.mean", 1.0)).each(
            "a", "mean"
        )
    ] == ["a.x.mean"]


def test_a_section_that_failed_says_why_and_one_that_ran_has_its_link_alone() -> None:
    told = evidence.sections(
        Record(
            Findings(()),
            sections=(
                {"page": "drain.html", "title": "Drain", "status": "done", "message": ""},
                {"page": "charge.html", "title": "Charge", "status": "failed", "message": "no log"},
            ),
        )
    )
    assert '<li><a href="drain.html">Drain</a></li>' in told.html
    assert '<li><a href="charge.html">Charge</a>: failed, no log</li>' in told.html
