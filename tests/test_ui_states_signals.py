"""Flash rates, signals that can be mistaken, faults that nothing shows."""

from __future__ import annotations

import pytest
import ui_machines as small

from reviewkit.ui_states import Signal, State, flash_rate, signals


def test_a_count_is_off_by_a_flash_at_the_windows_ends():
    """Whatever the phase, the true rate lies within one flash of the count over the time."""
    for true_Hz in (0.5, 0.83, 1.7, 2.9):
        for phase in (0.0, 0.2, 0.5, 0.99):
            seen = sum(0 <= (number + phase) / true_Hz < 10.0 for number in range(-1, 100))
            assert abs(seen / 10.0 - true_Hz) < 1 / 10.0
    rate = flash_rate(10, 20.0, frame_s=1 / 30)
    assert rate.value == 0.5
    # u of a triangle of half-width 1 flash is 1/√6 (GUM 4.3.9); the frames add next to nothing here.
    assert rate.standard == pytest.approx(1 / 6**0.5 / 20, rel=1e-3)


def test_a_stopwatch_held_by_hand_counts_more_than_video_frames():
    assert flash_rate(40, 5.0).expanded > flash_rate(40, 5.0, frame_s=1 / 30).expanded


def test_two_short_flashes_and_a_long_one_have_no_one_rate():
    """Two flashes of ¼ s and one of 1 s: by turns 120 and 30 a minute. From an interpretation letter to the
    MUTCD on flashing beacons, which finds that such a train is not 50 to 60 flashes a minute."""
    train = Signal("white", 3, 3.0, 1 / 30, (0.25, 0.25, 1.0), (0.25, 0.25, 1.0))
    assert not train.regular
    assert train.rate is None
    assert signals.most_in_a_second(train) == 2


def test_one_cycle_from_a_video_gives_a_rate():
    steady = Signal("white", frame_s=1 / 30, lit_s=(0.5,), dark_s=(0.5,))
    rate = steady.rate
    assert rate.value == pytest.approx(1.0)
    assert rate.standard == pytest.approx(1 / 30 / 6**0.5)


@pytest.mark.parametrize(
    ("signal", "told"),
    [
        # WCAG 2.2, 2.3.1: not more than three flashes in any one second.
        (Signal("slow", 20, 10.0), "no"),
        (Signal("fast", 45, 10.0), "yes"),
        (Signal("near", 31, 10.0), "the count can’t tell"),
        (Signal("burst", frame_s=1 / 30, lit_s=(0.1, 0.1, 0.1, 0.6), dark_s=(0.1, 0.1, 0.1, 2.0)), "yes"),
        (Signal("double", frame_s=1 / 30, lit_s=(0.1, 0.4), dark_s=(0.1, 2.0)), "no"),
        (Signal("steady"), "not counted"),
    ],
)
def test_more_than_three_flashes_in_a_second(signal, told):
    assert signals.flashes_too_fast(signal) == told


def states(*items):
    return small.machine([], states={item.name: item for item in items})


def test_one_signal_for_two_actions_is_ambiguous():
    made = states(
        State("charging", charging=True, shows="red", action="wait"),
        State("fault", error=True, shows="Red", action="let it cool"),
        State("full", shows="green", action="unplug"),
    )
    (found,) = signals.ambiguous(made, {})
    assert found.to_dict() == {
        "states": ["charging", "fault"],
        "shows": ["red", "Red"],
        "why": "the same signal",
    }


def test_one_signal_for_one_action_is_not():
    made = states(
        State("charging", charging=True, shows="red", action="wait"),
        State("fault", error=True, shows="red", action="wait"),
        State("standby"),
        State("locked", locked=True),
    )
    assert signals.ambiguous(made, {}) == ()


def test_without_actions_charging_or_not_matters():
    made = states(State("charging", charging=True, shows="red"), State("idle", shows="red"))
    assert len(signals.ambiguous(made, {})) == 1


@pytest.mark.parametrize(("flashes", "count"), [(11, 1), (20, 0)])
def test_rates_are_ambiguous_where_the_counts_cannot_tell_them_apart(flashes, count):
    made = states(
        State("charging", charging=True, shows="slow red"), State("fault", error=True, shows="quick red")
    )
    counted = {"slow red": Signal("slow red", 10, 10.0), "quick red": Signal("quick red", flashes, 10.0)}
    found = signals.ambiguous(made, counted)
    assert [item.why for item in found] == ["rates too close to tell apart"] * count


def test_a_fault_without_a_signal_is_silent():
    dark, told = State("dead cable", error=True), State("hot", error=True, shows="red")
    assert signals.silent_errors([dark, told, State("standby")]) == ("dead cable",)
