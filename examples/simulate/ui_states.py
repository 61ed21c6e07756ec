"""Invented user interfaces of the two helmet lamps, as a reviewer would note them down at the bench.

Each lamp is a small machine: what an event does in a state is given outright, everything else that can
occur changes nothing, and what cannot occur (a cable that is in can't be put in) is noted as ``n/a``.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

Effects = dict[tuple[str, str], tuple[str, int, str, str]]
"""(state, event) → state after, times seen of as many tries, remark, video time."""

ON_CABLE_ONLY = ("cable out", "power lost", "power back", "charge complete", "too hot", "cools")


@dataclass(frozen=True)
class Lamp:
    """A lamp's user interface.

    Parameters
    ----------
    states : dict
        The block `ui_states` of the review file.
    events : tuple of str
    effects : dict
    unpowered : tuple of str
        States with the cable in and no power on it.
    untested : tuple of (state, event)
    truth : dict
        What an assessment must find.
    """

    states: dict[str, dict[str, Any]]
    events: tuple[str, ...]
    effects: Effects
    unpowered: tuple[str, ...]
    untested: tuple[tuple[str, str], ...] = ()
    truth: dict[str, Any] = field(default_factory=dict)

    def rows(self) -> list[list[str]]:
        """Return the table of observed transitions, header first."""
        table = [["state", "event", "next", "seen", "tried", "remark", "video"]]
        for state in self.states:
            for event in self.events:
                if (state, event) in self.untested:
                    continue
                if (state, event) in self.effects:
                    after, tries, remark, video = self.effects[state, event]
                    table.append([state, event, after, str(tries), str(tries), remark, video])
                elif self._impossible(state, event):
                    table.append([state, event, "n/a", "", "", "", ""])
                else:
                    table.append([state, event, state, "3", "3", "nothing happens", ""])
        return table

    def _impossible(self, state: str, event: str) -> bool:
        attributes = self.states[state]
        cable = bool(attributes.get("cable") or attributes.get("charging"))
        if not cable:
            return event in ON_CABLE_ONLY
        if event in ("cable in", "press in the bag", "cell changed by someone else"):
            return True
        if event == "power back":
            return state not in self.unpowered
        if event in ("charge complete", "too hot"):
            return not attributes.get("charging")
        return event in ("power lost", "cools") and state in self.unpowered


_ALIGHT: dict[str, dict[str, Any]] = {
    "standby": {"light_percent": 0},
    "low": {"light_percent": 5},
    "high": {"light_percent": 100},
    "locked": {"locked": True},
}

ALDER = Lamp(
    states={
        **_ALIGHT,
        "charging": {"charging": True, "shows": "slow red", "action": "wait"},
        "charging locked": {"charging": True, "locked": True, "shows": "slow red", "action": "wait"},
        "no power": {"cable": True},
        "no power locked": {"cable": True, "locked": True},
        "idle on cable": {"cable": True},
        "full": {"cable": True, "shows": "green", "action": "take it off the cable"},
        "full locked": {"cable": True, "locked": True, "shows": "green", "action": "take it off the cable"},
        "fault": {"cable": True, "error": True, "shows": "fast red", "action": "let it cool"},
    },
    events=(
        "press",
        "hold both keys",
        "cable in",
        "cable out",
        "power lost",
        "power back",
        "charge complete",
        "press in the bag",
        "too hot",
        "cools",
    ),
    effects={
        ("standby", "press"): ("low", 10, "", "4:10"),
        ("low", "press"): ("high", 10, "", ""),
        ("high", "press"): ("standby", 10, "", ""),
        ("standby", "hold both keys"): ("locked", 10, "blinks twice", "4:31"),
        ("locked", "hold both keys"): ("standby", 10, "", ""),
        ("standby", "press in the bag"): ("low", 8, "felt sack, shaken", "5:02"),
        ("low", "press in the bag"): ("high", 8, "", ""),
        ("high", "press in the bag"): ("standby", 8, "", ""),
        ("locked", "press in the bag"): ("locked", 20, "stays dark", "5:40"),
        ("standby", "cable in"): ("charging", 10, "", "6:05"),
        ("low", "cable in"): ("charging", 5, "light goes out", ""),
        ("high", "cable in"): ("charging", 5, "light goes out", ""),
        ("locked", "cable in"): ("charging locked", 10, "", ""),
        ("charging", "cable out"): ("standby", 10, "", ""),
        ("charging", "hold both keys"): ("charging locked", 10, "", "6:40"),
        ("charging", "power lost"): ("no power", 10, "generator stopped", "7:12"),
        ("charging", "charge complete"): ("full", 3, "", "9:20"),
        ("charging", "too hot"): ("fault", 3, "on a hot-water bottle", "10:03"),
        ("charging locked", "cable out"): ("locked", 10, "", ""),
        ("charging locked", "hold both keys"): ("charging", 10, "", ""),
        ("charging locked", "power lost"): ("no power locked", 10, "generator stopped", "8:01"),
        ("charging locked", "charge complete"): ("full locked", 3, "", ""),
        ("charging locked", "too hot"): ("charging locked", 3, "goes on charging, slower", ""),
        ("no power", "power back"): ("idle on cable", 10, "generator started again", "7:25"),
        ("no power", "cable out"): ("standby", 5, "", ""),
        ("no power", "hold both keys"): ("no power locked", 5, "", ""),
        ("no power locked", "power back"): ("charging locked", 20, "generator started again", "8:15"),
        ("no power locked", "cable out"): ("locked", 5, "", ""),
        ("no power locked", "hold both keys"): ("no power", 5, "", ""),
        ("idle on cable", "cable out"): ("standby", 5, "", ""),
        ("idle on cable", "hold both keys"): ("charging locked", 5, "starts to charge", ""),
        ("idle on cable", "power lost"): ("no power", 5, "", ""),
        ("full", "cable out"): ("standby", 5, "", ""),
        ("full", "hold both keys"): ("full locked", 5, "", ""),
        ("full", "power lost"): ("no power", 5, "", ""),
        ("full locked", "cable out"): ("locked", 5, "", ""),
        ("full locked", "hold both keys"): ("full", 5, "", ""),
        ("full locked", "power lost"): ("no power locked", 5, "", ""),
        ("fault", "cable out"): ("standby", 3, "", ""),
        ("fault", "cools"): ("charging", 3, "", "10:48"),
        ("fault", "power lost"): ("no power", 3, "", ""),
    },
    unpowered=("no power", "no power locked"),
    truth={
        "hazards": [
            {
                "leave_in": "charging",
                "hazard": "charging does not come back after power does",
                "ends_in": "idle on cable",
                "steps": [
                    {"event": "power lost", "to": "no power"},
                    {"event": "power back", "to": "idle on cable"},
                ],
            }
        ],
        "precautions": [{"leave_in": "charging", "do": ["cable out", "hold both keys"]}],
        "untested": [],
        "contradictions": [],
        "ambiguous_signals": [],
    },
)

BIRCH = Lamp(
    states={
        **_ALIGHT,
        "charging": {"charging": True, "shows": "red", "action": "wait"},
        "no power": {"cable": True},
        "full": {"cable": True, "shows": "green", "action": "take it off the cable"},
        "fault": {"cable": True, "error": True, "shows": "red", "action": "let it cool"},
    },
    events=(
        "press",
        "turn the ring",
        "cable in",
        "cable out",
        "power lost",
        "power back",
        "charge complete",
        "press in the bag",
        "cell changed by someone else",
        "too hot",
        "cools",
    ),
    effects={
        ("standby", "press"): ("high", 10, "starts at full", "3:44"),
        ("high", "press"): ("low", 10, "", ""),
        ("low", "press"): ("standby", 10, "", ""),
        ("standby", "turn the ring"): ("locked", 10, "", "4:02"),
        ("locked", "turn the ring"): ("standby", 10, "", ""),
        ("standby", "press in the bag"): ("high", 9, "felt sack, shaken", "5:31"),
        ("high", "press in the bag"): ("low", 5, "", ""),
        ("low", "press in the bag"): ("standby", 5, "", ""),
        ("locked", "press in the bag"): ("locked", 20, "stays dark", "4:20"),
        ("locked", "cell changed by someone else"): ("standby", 10, "the lock is gone", "5:10"),
        ("low", "cell changed by someone else"): ("standby", 3, "", ""),
        ("high", "cell changed by someone else"): ("standby", 3, "", ""),
        ("standby", "cable in"): ("charging", 10, "", "6:15"),
        ("low", "cable in"): ("charging", 5, "", ""),
        ("high", "cable in"): ("charging", 5, "", ""),
        ("locked", "cable in"): ("charging", 5, "", ""),
        ("charging", "cable out"): ("standby", 10, "", ""),
        ("charging", "power lost"): ("no power", 10, "", "6:50"),
        ("charging", "charge complete"): ("full", 3, "", "8:12"),
        ("charging", "too hot"): ("fault", 3, "on a hot-water bottle", "9:05"),
        ("no power", "power back"): ("charging", 20, "", "7:02"),
        ("no power", "cable out"): ("standby", 5, "", ""),
        ("full", "cable out"): ("standby", 5, "", ""),
        ("fault", "cable out"): ("standby", 3, "", ""),
        ("fault", "cools"): ("charging", 3, "", ""),
        ("fault", "power lost"): ("no power", 3, "", ""),
    },
    unpowered=("no power",),
    untested=(("full", "power lost"),),
    truth={
        "hazards": [
            {
                "leave_in": "locked",
                "hazard": "light comes on by itself",
                "ends_in": "high",
                "steps": [
                    {"event": "cell changed by someone else", "to": "standby"},
                    {"event": "press in the bag", "to": "high"},
                ],
            },
            {
                "leave_in": "locked",
                "hazard": "light comes on by itself",
                "ends_in": "low",
                "steps": [
                    {"event": "cell changed by someone else", "to": "standby"},
                    {"event": "press in the bag", "to": "high"},
                    {"event": "press in the bag", "to": "low"},
                ],
            },
            {
                "leave_in": "locked",
                "hazard": "protection not recovered",
                "ends_in": "standby",
                "steps": [{"event": "cell changed by someone else", "to": "standby"}],
            },
        ],
        "precautions": [],
        "untested": [["full", "power lost"]],
        "contradictions": [],
        "ambiguous_signals": [["charging", "fault"]],
    },
)

LAMPS = {"alder": ALDER, "birch": BIRCH}


def write(folder: Path, known: dict[str, Any]) -> None:
    """Write the lamp's ``transitions.csv`` and add what is true of it under ``ui_states``.

    Parameters
    ----------
    folder : Path
        A review folder named for the lamp.
    known : dict
        Gets the key ``ui_states``.
    """
    lamp = LAMPS[folder.name]
    with (folder / "transitions.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(lamp.rows())
    known["ui_states"] = lamp.truth
