"""A charge followed through simulated nights: what it does, what comes, what needs a hand, what is there.

Times are those of the simulation: nothing here waits.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from adversary import Charge, draw
from adversary.meters import LogRows
from benchmarks import alarms as study
from benchmarks import forecasts as ends
from click.testing import CliRunner
from nights import BEGAN_S, Night, cut

from reviewkit import bench_day, cli
from reviewkit.bench_day import follow
from reviewkit.charge import inputs, on_one_clock, regimes
from reviewkit.errors import InputError
from reviewkit.following import Alarm, Need, State, lines
from reviewkit.following.forecast import SHORTER, SoFar, forecast
from reviewkit.following.needs import have
from reviewkit.sections import template

SEED = 5
"""A plain charge of one-second rows."""


@pytest.fixture(scope="module")
def plain() -> Charge:
    return draw("plain", SEED)


@pytest.fixture(scope="module")
def states(plain: Charge, tmp_path_factory: pytest.TempPathFactory) -> dict[str, State]:
    """How a charge stands at a few moments of its night."""
    night = Night(plain, tmp_path_factory.mktemp("night"), more={"readout_table": ""})
    at = plain.marks
    assert at.knee is not None
    moments = {
        "before": at.start - 20.0,
        "plateau": at.start + 0.5 * (at.knee - at.start),
        "falling": at.knee + 0.6 * (at.end - at.knee),
        "ended": at.end + 300.0,
    }
    return {name: night.at(moment) for name, moment in moments.items()}


def test_the_regime_and_its_beginning_are_those_of_the_charge(
    states: dict[str, State], plain: Charge
) -> None:
    at = plain.marks
    assert states["before"].regime == "before"
    begins = {"plateau": at.start, "falling": at.knee, "ended": at.end}
    names = {"plateau": "constant current", "falling": "constant voltage", "ended": "terminated"}
    for name, moment in begins.items():
        state = states[name]
        assert state.regime == names[name]
        assert moment is not None
        assert state.since_s is not None
        # This computer saw the rows come in within a look of 5 s and a row of each log.
        assert abs(state.since_s - BEGAN_S - moment) < 30 + state.since_half_s


def test_what_is_shown_carries_its_doubt_and_holds(states: dict[str, State], plain: Charge) -> None:
    moment = states["plateau"].at_s - BEGAN_S
    course = plain.course
    for shown, values in (
        (states["plateau"].voltage, course.cell_V),
        (states["plateau"].current, course.current_A),
    ):
        truth = float(course.at([moment], values)[0])
        assert shown is not None
        assert shown.low - 2e-3 <= truth <= shown.high + 2e-3
    delivered = states["ended"].delivered
    assert delivered is not None
    truth = float(plain.truths["delivered"].value)
    assert delivered.low <= truth <= delivered.high


def test_knee_and_end_are_foretold_as_intervals_that_hold(states: dict[str, State], plain: Charge) -> None:
    plateau, falling = states["plateau"], states["falling"]
    assert plateau.knee is not None
    assert plateau.end is not None
    assert falling.end is not None
    assert falling.knee is None
    knee, width = BEGAN_S + (plain.marks.knee or 0.0), plateau.knee[1] - plateau.knee[0]
    # One of ten may lie outside; none is far outside.
    assert plateau.knee[0] - width / 2 <= knee <= plateau.knee[1] + width / 2
    for state in (plateau, falling):
        assert state.end is not None
        assert state.end[0] <= BEGAN_S + plain.marks.end <= state.end[1]
    assert states["ended"].end is None


def test_a_log_that_ends_just_after_an_hour_at_constant_current_shows_no_trickle(plain: Charge) -> None:
    """Nobody is told that a charge never ends because its log did, a minute after the knee."""
    declared, knee_s = inputs(**plain.declared()), (plain.marks.knee or 0.0) + 66.0
    assert declared.voltmeter is not None
    assert declared.ammeter is not None
    rows = [one.series()[one.true_s <= knee_s] for one in (plain.voltage, plain.current)]
    meters = {"voltmeter": declared.voltmeter.meter(), "ammeter": declared.ammeter.meter()}
    phases = regimes.find(on_one_clock(*rows, **meters), cell=declared.cell)
    assert phases is not None
    assert phases.ending == "log ended"


def test_an_exponential_fall_ends_where_its_time_constant_says() -> None:
    """t = τ·ln(I/I_end): the charge of a capacitance behind a resistance, any book on circuits."""
    time_s = np.arange(0.0, 4000.0, 20.0)
    amps = np.where(time_s < 2000, 1.0, np.exp(-(time_s - 2000) / 900.0))
    charge = np.cumsum(amps) * 20 / 3600
    so_far = SoFar(
        time_s, amps, 4.2 - 0.1 * amps, charge, 4000.0, float(amps[-1]), capacity_Ah=2.0,
        stop_A=(0.05, 0.05001), held=(4.2, 0.1), knee_s=2000.0,
    )  # fmt: skip
    found = forecast(so_far).end
    assert found is not None
    # The current now is the middle of the last three rows, 20 s back.
    exact = 4000.0 - 20.0 + 900.0 * np.log(float(amps[-2]) / 0.05)
    low, high = (4000.0 + share * (exact - 4000.0) for share in SHORTER)
    assert found.low_s < exact < found.high_s
    assert found.low_s == pytest.approx(low, abs=60.0)
    assert found.high_s == pytest.approx(high, abs=60.0)


def test_foretold_ends_hold_over_random_charges() -> None:
    """A part of the study: of some sixty intervals nine in ten hold, and not by being endless."""
    found = [
        one
        for kind, seed in (("plain", 1), ("soft_start", 3), ("cuts", 5), ("fold_slope", 1), ("lfp", 3))
        for one in ends.of_charge(kind, seed, range(2, 9, 2))
    ]
    assert len(found) >= 30
    assert np.mean([one.holds for one in found]) >= 0.85
    assert np.median([one.width for one in found if one.known]) < 0.5


@pytest.mark.parametrize("fault", study.FAULTS)
def test_what_needs_a_hand_is_told_in_time(fault: str, plain: Charge, tmp_path: Path) -> None:
    told, allowed = study.told_after(fault, plain, tmp_path)
    assert told is not None
    assert told <= allowed


@pytest.mark.parametrize("place", [4, 15])
def test_a_current_and_a_cell_that_stand_still_near_the_limit_are_told(place: int, tmp_path: Path) -> None:
    """Charges whose current had hardly fallen when it stopped falling."""
    quiet = [one for seed in range(1, 160, 2) if study.quiet(one := draw("plain", seed))]
    after_s, allowed_s = study.told_after("current no longer falls", quiet[place], tmp_path)
    assert after_s is not None
    assert after_s <= allowed_s


def test_a_whole_charge_without_a_fault_raises_no_alarm_that_is_not_so(plain: Charge, tmp_path: Path) -> None:
    assert not study.whole(plain, tmp_path, every_s=300.0)


def test_there_is_never_more_than_one_alarm_for_one_thing(plain: Charge, tmp_path: Path) -> None:
    at = plain.marks.start + 900.0
    night = Night(plain, tmp_path, {"voltage": cut(at)})
    new = [one for _, state in night.through(at - 300, at + 1500, 15.0) for one in state.new_alarms]
    assert [one.key for one in new] == ["log silent: voltage"]


def test_what_is_needed_is_there_coming_or_lost(
    states: dict[str, State], plain: Charge, tmp_path: Path
) -> None:
    needs = follow.needs(template.of_kind("section", template.discover()))
    assert {one.section for one in needs} >= {"Charge curve", "Voltage readout"}
    night = Night(plain, tmp_path)
    night.at(plain.marks.start + 4000.0)
    follower = night.follower
    found = {
        one.need.finds[0]: one
        for one in have(needs, follower._bench.standing, follower._logs, filled={"readout_table"})
    }
    assert found["switching_place"].state == "there"
    assert found["hazards"].state == "to do"
    assert found["start_voltage"].state == "there"
    assert found["plateau_current"].state == "there"
    assert found["hold_voltage"].state == "coming"
    assert (found["hold_voltage"].from_s or 0.0) < (found["hold_voltage"].until_s or 0.0)
    assert found["settled_voltage_60min"].state == "to do"
    assert found["highest_temperature"].state == "to do"
    night.at(plain.marks.end + 4000.0)
    follower.cable_out(BEGAN_S + plain.marks.end + 4000.0)
    later = {one.need.finds[0]: one for one in have(needs, follower._bench.standing, follower._logs,
             cable_out_s=BEGAN_S + plain.marks.end + 4000.0)}  # fmt: skip
    assert later["settled_voltage_60min"].state == "coming"
    assert "09" in later["settled_voltage_60min"].says or ":" in later["settled_voltage_60min"].says


def test_a_need_is_lost_where_the_cable_was_in_before_the_log_began(plain: Charge, tmp_path: Path) -> None:
    late = Night(plain, tmp_path, {key: _from(plain.marks.start + 600) for key in ("voltage", "current")})
    late.at(plain.marks.start + 2000.0)
    need = Need("Charge curve", ("start_voltage",), "before", 60.0, logs=("voltage",), do="start before")
    (found,) = have([need], late.follower._bench.standing, late.follower._logs)
    assert found.state == "lost"


def _from(moment_s: float) -> Callable[[LogRows], LogRows]:
    def apply(rows: LogRows) -> LogRows:
        kept = rows.true_s >= moment_s
        return replace(rows, true_s=rows.true_s[kept], stamp_s=rows.stamp_s[kept], shown=rows.shown[kept])

    return apply


def test_every_need_names_findings_that_its_section_makes() -> None:
    for part in template.of_kind("section", template.discover()):
        for need in part.about.needs:
            assert set(need.finds) <= set(part.about.finds), part.name
            assert not need.declared or need.declared in part.names


def test_the_screen_says_that_it_is_no_safety_device(states: dict[str, State]) -> None:
    for state in states.values():
        told = "\n".join(lines(state))
        assert "no safety device" in told
        assert "replaces no one" in told
    assert "at its voltage limit" in lines(states["falling"])[0]


def test_a_folder_is_waited_for_and_once_says_what_is_wrong(tmp_path: Path) -> None:
    shown: list[str] = []
    asleep: list[float] = []

    def sleep(seconds: float) -> None:
        asleep.append(seconds)
        if len(asleep) == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        follow.watch(tmp_path / "none", lambda told, _: shown.extend(told), sleep=sleep)
    assert len(shown) == 1
    assert "Waiting" in shown[0]
    with pytest.raises(InputError):
        follow.watch(tmp_path / "none", lambda *_: None, once=True)


def test_follow_once_from_the_command_line() -> None:
    told = CliRunner().invoke(cli.main, ["follow", "examples/alder", "--once"])
    assert told.exit_code == 0
    assert "ended" in told.output
    assert "no safety device" in told.output


def test_an_alarms_command_is_given_values_by_its_environment_alone(tmp_path: Path) -> None:
    """No shell sees what a log or a file's name holds."""
    place = tmp_path / "told.txt"
    code = f"import os, pathlib; pathlib.Path({str(place)!r}).write_text(os.environ['REVIEWKIT_ALARM_SAYS'])"
    script = tmp_path / "alarm.py"
    script.write_text(code, encoding="utf-8")
    command = follow.Command(
        f"'{sys.executable}' '{script}'" if os.name != "nt" else f"{sys.executable} {script}"
    )
    hostile = "$(touch broken); `id` & | > \"'"
    command.run([Alarm("overload", "current", 0.0, hostile, "look")])
    command.wait()
    assert place.read_text() == hostile
    assert not Path("broken").exists()
    with pytest.raises(InputError, match="quotes"):
        follow.Command("say 'this")


def test_a_live_view_takes_in_what_is_entered_beside_it(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(Path(__file__).parents[1] / "examples" / "alder", tmp_path / "alder"))
    (folder / "readout.csv").write_text("reference (V),shown\n", encoding="utf-8")
    following = follow.follower(folder)
    seen_at = follow._note(following, folder, 0)
    before = [one.state for one in following.poll().findings]
    bench_day.reading(folder, "3.605", "3.6", sure=True)
    bench_day.reading(folder, "3.557", "3.6", sure=True)
    assert follow._note(following, folder, seen_at) > seen_at
    after = [one.state for one in following.poll().findings]
    assert before != after
