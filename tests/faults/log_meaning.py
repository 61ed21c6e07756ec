"""Logs whose form is good and whose meaning is not: a wrong unit, column, lead, clock or device."""

from __future__ import annotations

from pathlib import Path

from .entry import Damage, Refused, both, changed, readings, removed, rows, swapped
from .good import charge, log
from .log_form import CURRENT, STANDBY, VOLTAGE

_REVIEW = "review.yaml"
_ONE_FILE = (
    "voltage: logs/voltage.csv\n    current: logs/current.csv",
    "voltage: logs/both.csv\n    current: logs/both.csv",
)


def _one_file(heading: str, *, exchanged: bool = False) -> Damage:
    """Both quantities in one log."""

    def damage(folder: Path) -> None:
        pairs = [(amps, volts) if exchanged else (volts, amps) for volts, amps in charge()]
        lines = [f"{30 * row},{one:.3f},{other:.3f}" for row, (one, other) in enumerate(pairs)]
        (folder / "logs/both.csv").write_text("\n".join([heading, *lines, ""]), encoding="utf-8")
        swapped(_REVIEW, _ONE_FILE)(folder)

    return damage


def _twice(folder: Path) -> None:
    """The lamp was charged, used, and charged again while the loggers ran."""
    pairs = charge() + [(4.0 - 0.4 * row / 60, 0.0) for row in range(60)] + charge(first_V=3.5)
    (folder / VOLTAGE).write_text(
        log("Voltage (V)", [volts for volts, _ in pairs], digits=3), encoding="utf-8"
    )
    (folder / CURRENT).write_text(log("Current (A)", [amps for _, amps in pairs], digits=3), encoding="utf-8")


def _started_again(raw: bytes) -> bytes:
    """The logger was started twice and wrote both logs into one file, headings and all."""
    return raw + raw


MEANING = (
    Refused(
        "current in A headed as mA",
        swapped(CURRENT, ("(A)", "(mA)")),
        (
            "logs/current.csv: the log counts a charge of 0.001475\xa0Ah, next to nothing beside the "
            "cell’s 2\xa0Ah, while the voltage rises by 0.75 V; expected a current that fits the "
            "cell. Check the units in its heading, of the current and of the time, and that it is "
            "the log of this charge. If all is right, write into the review file: current: {path: "
            'logs/current.csv, plausible: "yes, I mean it"}.'
        ),
    ),
    Refused(
        "current in mA headed as A",
        readings(CURRENT, lambda amps: 1000 * amps),
        (
            "logs/current.csv: the largest reading is 1000 A, taken in A, which no bench has; "
            "expected 1e-10 to 30 A. Check the unit. Were they in mA or µA or nA, they would be. "
            "If in mA, write into the review file: current: {path: logs/current.csv, unit: mA}. If it is "
            "right as it is, write into the review file: current: {path: logs/current.csv, plausible: "
            '"yes, I mean it"}.'
        ),
    ),
    Refused(
        "current in mA headed as µA",
        both(readings(CURRENT, lambda amps: 1000 * amps), swapped(CURRENT, ("(A)", "(µA)"))),
        (
            "logs/current.csv: the log counts a charge of 0.001475\xa0Ah, next to nothing beside the "
            "cell’s 2\xa0Ah, while the voltage rises by 0.75 V; expected a current that fits the "
            "cell. Check the units in its heading, of the current and of the time, and that it is "
            "the log of this charge. If all is right, write into the review file: current: {path: "
            'logs/current.csv, plausible: "yes, I mean it"}.'
        ),
    ),
    Refused(
        "voltage in V headed as mV",
        swapped(VOLTAGE, ("(V)", "(mV)")),
        (
            "logs/voltage.csv: the largest reading is 0.00422 V, taken in mV, which no bench has; "
            "expected 0.1 to 60 V. Check the unit. Were they in V, they would be. If in V, write "
            "into the review file: voltage: {path: logs/voltage.csv, unit: V}. If it is right as it is, "
            'write into the review file: voltage: {path: logs/voltage.csv, plausible: "yes, I mean it"}.'
        ),
    ),
    Refused(
        "voltage in mV headed as V",
        readings(VOLTAGE, lambda volts: 1000 * volts, digits=0),
        (
            "logs/voltage.csv: the largest reading is 4220 V, taken in V, which no bench has; "
            "expected 0.1 to 60 V. Check the unit. Were they in mV, they would be. If in mV, "
            "write into the review file: voltage: {path: logs/voltage.csv, unit: mV}. If it is right as it "
            'is, write into the review file: voltage: {path: logs/voltage.csv, plausible: "yes, I mean '
            'it"}.'
        ),
    ),
    Refused(
        "drain in µA headed as mA",
        swapped(STANDBY, ("µA", "mA")),
        (
            "logs/standby.csv: its largest reading, 62\xa0mA, is beyond the meter’s range; expected "
            "at most 6\xa0mA. Check the unit in its heading, and the meter's range in the review "
            "file."
        ),
    ),
    Refused(
        "drain in mA headed as µA",
        readings(STANDBY, lambda amps: amps / 1000),
        (
            "logs/standby.csv: its readings step by 0.001000\xa0µA, the meter’s display by 1\xa0µA; "
            "expected readings of the meter and range named in the review file. Check the unit in "
            "its heading, and the meter's resolution. If both are right, write into the review "
            'file: log: {path: logs/standby.csv, plausible: "yes, I mean it"}.'
        ),
    ),
    Refused(
        "minutes headed as seconds",
        both(
            rows(CURRENT, lambda row, cells: [str(row / 2), cells[1]]),
            rows(VOLTAGE, lambda row, cells: [str(row / 2), cells[1]]),
            swapped(CURRENT, ("Time", "Time (s)")),
            swapped(VOLTAGE, ("Time", "Time (s)")),
        ),
        (
            "logs/current.csv: the log counts a charge of 0.02458\xa0Ah, next to nothing beside the "
            "cell’s 2\xa0Ah, while the voltage rises by 0.75 V; expected a current that fits the "
            "cell. Check the units in its heading, of the current and of the time, and that it is "
            "the log of this charge. If all is right, write into the review file: current: {path: "
            'logs/current.csv, plausible: "yes, I mean it"}.'
        ),
    ),
    Refused(
        "milliseconds headed as seconds",
        both(
            rows(CURRENT, lambda row, cells: [str(30000 * row), cells[1]]),
            rows(VOLTAGE, lambda row, cells: [str(30000 * row), cells[1]]),
            swapped(CURRENT, ("Time", "Time (s)")),
            swapped(VOLTAGE, ("Time", "Time (s)")),
        ),
        (
            (
                (
                    "logs/voltage.csv: it would be 2633\xa0h\xa020\xa0min long, with 3e+04 s from row to "
                    "row; expected a log of a bench session. Check the unit of its times: if it is ms, write "
                    "into the review file: voltage: {path: logs/voltage.csv, time_unit: ms}. If it is right "
                    "as it is, write into the review file: voltage: {path: logs/voltage.csv, plausible: "
                    '"yes, I mean it"}.'
                ),
                (
                    "logs/current.csv: it would be 2633\xa0h\xa020\xa0min long, with 3e+04 s from row to "
                    "row; expected a log of a bench session. Check the unit of its times: if it is ms, write "
                    "into the review file: current: {path: logs/current.csv, time_unit: ms}. If it is right "
                    "as it is, write into the review file: current: {path: logs/current.csv, plausible: "
                    '"yes, I mean it"}.'
                ),
            )
        ),
    ),
    Refused(
        "columns of one log exchanged",
        _one_file("Time (s),Voltage (V),Current (A)", exchanged=True),
        (
            "logs/both.csv: voltage and current look exchanged: most voltages are about 0.6620\xa0V,"
            " most currents about 4.200\xa0A; expected a cell’s voltage under 'voltage'. Check the "
            "columns: their headings, and what the review file names."
        ),
    ),
    Refused(
        "voltage and current logs exchanged",
        swapped(
            _REVIEW,
            ("voltage: logs/voltage.csv", "voltage: logs/x.csv"),
            ("current: logs/current.csv", "current: logs/voltage.csv"),
            ("logs/x.csv", "logs/current.csv"),
        ),
        (
            (
                "logs/current.csv, heading row: no column is headed as the voltage; expected one "
                "heading such as 'Voltage (V)'. Check which log stands where in the review file: "
                "'Current (A)' is a current."
            ),
            (
                "logs/voltage.csv, heading row: no column is headed as the current; expected one "
                "heading such as 'Current (mA)'. Check which log stands where in the review file: "
                "'Voltage (V)' is a voltage."
            ),
        ),
    ),
    Refused(
        "voltage and current logs exchanged, without units in them",
        both(
            swapped(VOLTAGE, ("Voltage (V)", "Reading")),
            swapped(CURRENT, ("Current (A)", "Reading")),
            swapped(
                _REVIEW,
                ("voltage: logs/voltage.csv", "voltage: {path: logs/x.csv, unit: V}"),
                ("current: logs/current.csv", "current: {path: logs/voltage.csv, unit: A}"),
                ("logs/x.csv", "logs/current.csv"),
            ),
        ),
        (
            "logs/current.csv: voltage and current look exchanged: most voltages are about "
            "0.6620\xa0V, most currents about 4.200\xa0A; expected a cell’s voltage under 'voltage'. "
            "Check the logs: their headings, and what the review file names."
        ),
    ),
    Refused(
        "one log for both quantities that holds only one",
        swapped(_REVIEW, ("current: logs/current.csv", "current: logs/voltage.csv")),
        (
            "logs/voltage.csv, heading row: no column is headed as the current; expected one "
            "heading such as 'Current (mA)'. Check which log stands where in the review file: "
            "'Voltage (V)' is a voltage."
        ),
    ),
    Refused(
        "ammeter's leads swapped",
        readings(CURRENT, lambda amps: -amps),
        (
            "logs/current.csv: the current is negative while the cell’s voltage rises: the "
            "ammeter’s leads were swapped; expected charge current into the cell as positive. Say"
            " so in the review file: current: {path: logs/current.csv, sign: -1}."
        ),
    ),
    Refused(
        "voltmeter's leads swapped",
        readings(VOLTAGE, lambda volts: -volts),
        (
            "logs/voltage.csv: the voltages are negative, most about −4.200\xa0V: the voltmeter’s "
            "leads were swapped. Say so in the review file: voltage: {path: logs/voltage.csv, "
            "sign: -1}."
        ),
    ),
    Refused(
        "both meters' leads swapped",
        both(readings(VOLTAGE, lambda volts: -volts), readings(CURRENT, lambda amps: -amps)),
        (
            (
                "logs/voltage.csv: the voltages are negative, most about −4.200\xa0V: the voltmeter’s "
                "leads were swapped. Say so in the review file: voltage: {path: logs/voltage.csv, "
                "sign: -1}."
            ),
            (
                "logs/current.csv: the current only ever flows out of the cell, which is no charge; "
                "expected charge current into the cell as positive. If the ammeter’s leads were "
                "swapped, say so in the review file: current: {path: logs/current.csv, sign: -1}; if "
                "they were not, write sign: 1."
            ),
        ),
    ),
    Refused(
        "a sign that turns a good log round",
        swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, sign: -1}")),
        (
            "logs/current.csv: the current is negative while the cell’s voltage rises: the "
            "ammeter’s leads were not swapped; expected charge current into the cell as positive. Say"
            " so in the review file: current: {path: logs/current.csv, sign: 1}."
        ),
    ),
    Refused(
        "two charges in one log",
        _twice,
        (
            "logs/current.csv: it holds more than one charge: 3\xa0h\xa014\xa0min after its start the cell"
            " charges at 3.65 V, after it had reached 4.22 V; expected one charge in a log. Cut "
            "both logs before that charge, and name each pair in a run of its own."
        ),
    ),
    Refused(
        "two logs in one file",
        changed(CURRENT, _started_again),
        (
            "logs/current.csv: time runs backwards after data row 317. Split the file: one log "
            "per file, one start per log."
        ),
    ),
    Refused(
        "a temperature log as current",
        swapped(CURRENT, ("Current (A)", "Temperature (°C)")),
        (
            "logs/current.csv, heading row: no column is headed as the current; expected one "
            "heading such as 'Current (mA)'. Check which log stands where in the review file: "
            "'Temperature (°C)' is a temperature."
        ),
    ),
    Refused(
        "a temperature log named as the current's column",
        both(
            swapped(CURRENT, ("Current (A)", "Temperature (°C)")),
            swapped(
                _REVIEW,
                ("current: logs/current.csv", "current: {path: logs/current.csv, value: Temperature}"),
            ),
        ),
        (
            "logs/current.csv: '°C', which the heading 'Temperature (°C)' gives, is no unit of "
            "current. Check which column and which log stands where in the review file. To let the headings "
            "tell, write into the review file: current: {path: logs/current.csv}."
        ),
    ),
    Refused(
        "a log of the mains as the cell's voltage",
        readings(VOLTAGE, lambda volts: 230 + volts / 10),
        (
            "logs/voltage.csv: the largest reading is 230.4 V, taken in V, which no bench has; "
            "expected 0.1 to 60 V. Check the unit. If it is right as it is, write into the review "
            'file: voltage: {path: logs/voltage.csv, plausible: "yes, I mean it"}.'
        ),
    ),
    Refused(
        "a log of the port as the cell's voltage",
        readings(VOLTAGE, lambda volts: 5 + volts / 100),
        (
            "logs/voltage.csv: most readings are about 5.042\xa0V, which is no voltage of a "
            "lithium-ion cell; expected 0.5 V to 4.7 V. Check the unit in its heading, and that "
            "it is the log of the cell and not of the port."
        ),
    ),
    Refused(
        "a log of a sleeping device as the charge current",
        readings(CURRENT, lambda amps: 0.000043, digits=6),
        (
            "logs/current.csv: the log counts a charge of 0.0001132\xa0Ah, next to nothing beside "
            "the cell’s 2\xa0Ah, while the voltage rises by 0.77 V; expected a current that fits the "
            "cell. Check the units in its heading, of the current and of the time, and that it is "
            "the log of this charge. If all is right, write into the review file: current: {path: "
            'logs/current.csv, plausible: "yes, I mean it"}.'
        ),
    ),
    Refused(
        "a log of another day as the charge current",
        rows(CURRENT, lambda row, cells: [cells[0].replace("2026-02", "2025-11"), cells[1]]),
        (
            "logs/current.csv: it begins on 2025-11-10, the voltage log on 2026-02-10; expected "
            "the same charge as in logs/voltage.csv. Check that both logs are of this charge. If "
            "a meter’s clock was not set, say so: current: {path: logs/current.csv, "
            "clock_offset_s: 7948800}."
        ),
    ),
    Refused(
        "a voltage log that ends before the charge",
        rows(VOLTAGE, lambda row, cells: cells if row < 8 else None),
        (
            "logs/voltage.csv: it has readings for only 0 % of the time that the current log "
            "shows charging; expected the same charge as in logs/current.csv. Check that both "
            "logs are of this charge, and their clocks; 'clock_offset_s' moves one."
        ),
    ),
    Refused(
        "a charge log as the drain",
        both(
            removed(STANDBY), lambda folder: (folder / STANDBY).write_bytes((folder / CURRENT).read_bytes())
        ),
        (
            "logs/standby.csv: its largest reading, 1\xa0A, is beyond the meter’s range; expected at"
            " most 6\xa0mA. Check the unit in its heading, and the meter's range in the review file."
        ),
    ),
    Refused(
        "readings beyond the meter's range",
        swapped(_REVIEW, ("full_scale: 10 A", "full_scale: 600 mA")),
        (
            "logs/current.csv: its largest reading, 1\xa0A, is beyond the meter’s range; expected at"
            " most 0.6000\xa0A. Check the unit in its heading, and the meter's range in the review "
            "file."
        ),
    ),
    Refused(
        "voltages beyond the meter's range",
        swapped(_REVIEW, ("full_scale: 6 V", "full_scale: 4 V")),
        (
            (
                "readout.csv, row 4: the reference of 4.172 V is beyond the meter's range; expected "
                "at most 4 V. Correct the reading, or the voltmeter's full_scale in review.yaml."
            ),
            (
                "readout.csv, row 5: the reference of 4.138 V is beyond the meter's range; expected "
                "at most 4 V. Correct the reading, or the voltmeter's full_scale in review.yaml."
            ),
            (
                "logs/voltage.csv: its largest reading, 4.220\xa0V, is beyond the meter’s range; "
                "expected at most 4\xa0V. Check the unit in its heading, and the meter's range in the "
                "review file."
            ),
        ),
    ),
    Refused(
        "a drain reading beyond its range",
        swapped(_REVIEW, ("reading_A: 2.4 uA", "reading_A: 2.4 mA")),
        (
            "review.yaml, drain_states[2].reading_A: 2.400\xa0mA is beyond the meter’s range; "
            "expected at most 600\xa0µA. Correct the reading and its unit, or range_full_scale_A."
        ),
    ),
    Refused(
        "a drain log beyond its range",
        readings(STANDBY, lambda amps: 1000 * amps, digits=0),
        (
            "logs/standby.csv: its largest reading, 62\xa0mA, is beyond the meter’s range; expected "
            "at most 6\xa0mA. Check the unit in its heading, and the meter's range in the review "
            "file."
        ),
    ),
    Refused(
        "a column that is not there",
        swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, value: Strom}")),
        (
            "logs/current.csv, heading row: there is no column 'Strom', which the review file "
            "names under 'value'. The file has: 'Time' (2026-02-10 21:38:00, 2026-02-10 21:38:30, "
            "2026-02-10 21:39:00), 'Current (A)' (0.000, 0.000, 0.000). To let the headings tell, write into "
            "the review file: current: {path: logs/current.csv}."
        ),
    ),
    Refused(
        "a unit that is none",
        swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, unit: bananas}")),
        (
            "logs/current.csv: 'bananas', which the review file gives, is no unit of current. "
            "Check which column and which log stands where in the review file. To let the headings "
            "tell, write into "
            "the review file: current: {path: logs/current.csv}."
        ),
    ),
    Refused(
        "a unit of another kind",
        swapped(_REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, unit: V}")),
        (
            "logs/current.csv: 'V', which the review file gives, is no unit of current. Check "
            "which column and which log stands where in the review file. To let the headings tell, "
            "write into "
            "the review file: current: {path: logs/current.csv}."
        ),
    ),
    Refused(
        "a clock offset of years",
        swapped(
            _REVIEW, ("current: logs/current.csv", "current: {path: logs/current.csv, clock_offset_s: 1e9}")
        ),
        (
            "review.yaml, charge_runs[1]: with this 'clock_offset_s' (1000000000 s in all) no "
            "reading of logs/current.csv falls into the time of logs/voltage.csv; expected what to add "
            "to the current log's seconds, so that both logs show the same charge. Correct it, or leave "
            "it out: the logs' own steps may tell."
        ),
    ),
    Refused(
        "a cable pulled after the log's end",
        swapped(
            _REVIEW,
            ("source_controls_charge: false", "source_controls_charge: false\n    cable_out_s: 900000"),
        ),
        (
            "review.yaml, charge_runs[1].cable_out_s: 250\xa0h\xa000\xa0min is after the end of the logs; "
            "expected at most 9480 s, counted as the voltage log counts. Correct it, or leave it "
            "out if the cable stayed in."
        ),
    ),
    Refused(
        "a range that the meter does not have",
        swapped(
            _REVIEW,
            (
                "source_controls_charge: false",
                "source_controls_charge: false\n    current_full_scale_A: 600 mA",
            ),
        ),
        ("review.yaml, charge_runs[1].current_full_scale_A: the meter has no range of 0.6 A; it has 10 A."),
    ),
    Refused(
        "a temperature log in kelvin headed as °C",
        both(
            lambda folder: (folder / "logs/warm.csv").write_text(
                log("Temperature (°C)", [294.0] * 60, digits=1), encoding="utf-8"
            ),
            swapped(
                _REVIEW,
                (
                    "source_controls_charge: false",
                    "source_controls_charge: false\n    temperature: logs/warm.csv",
                ),
            ),
        ),
        (
            "logs/warm.csv: most readings are 294 °C, taken in °C, which no bench has; expected "
            "-60 to 250 °C. Check the unit. Were they in K, they would be. If in K, write into "
            "the review file: temperature: {path: logs/warm.csv, unit: K}. If it is right as it is, write "
            'into the review file: temperature: {path: logs/warm.csv, plausible: "yes, I mean it"}.'
        ),
    ),
    Refused(
        "power headed as current",
        swapped(CURRENT, ("Current (A)", "Power (W)")),
        (
            "logs/current.csv, heading row: no column is headed as the current; expected one "
            "heading such as 'Current (mA)'. The file has: 'Time' (2026-02-10 21:38:00, "
            "2026-02-10 21:38:30, 2026-02-10 21:39:00), 'Power (W)' (0.000, 0.000, 0.000)."
        ),
    ),
    Refused(
        "alternating current",
        swapped(CURRENT, ("Current (A)", "Current (A AC)")),
        (
            "logs/current.csv, heading row: no column is headed as the current; expected one "
            "heading such as 'Current (mA)'. The file has: 'Time' (2026-02-10 21:38:00, "
            "2026-02-10 21:38:30, 2026-02-10 21:39:00), 'Current (A AC)' (0.000, 0.000, 0.000)."
        ),
    ),
)
