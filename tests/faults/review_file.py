"""Review files that are damaged, or say what can't be."""

from __future__ import annotations

from .entry import Damage, Refused, both, changed, swapped, wrote
from .good import AMMETER, CHARGE_RUNS, DRAIN_AMMETER, UI_STATES, VOLTMETER

FILE = "review.yaml"


def _now(old: str, new: str) -> Damage:
    return swapped(FILE, (old, new))


def _more(text: str) -> Damage:
    return changed(FILE, lambda raw: raw + text.encode())


_RUN = "    current: logs/current.csv"

_FORM = (
    Refused(
        "review file: empty",
        wrote(FILE, ""),
        "review.yaml: holds no keys; expected lines such as 'device: {name: Alder}'.",
    ),
    Refused(
        "review file: remarks only",
        wrote(FILE, "# to be filled in\n"),
        "review.yaml: holds no keys; expected lines such as 'device: {name: Alder}'.",
    ),
    Refused(
        "review file: a list",
        wrote(FILE, "- device\n- cell\n"),
        "review.yaml: holds no keys; expected lines such as 'device: {name: Alder}'.",
    ),
    Refused(
        "review file: words only",
        wrote(FILE, "Hazel is a lamp\n"),
        "review.yaml: holds no keys; expected lines such as 'device: {name: Alder}'.",
    ),
    Refused(
        "review file: another encoding",
        changed(FILE, lambda raw: raw.decode().encode("cp1252")),
        "review.yaml, line 16: not readable as text; expected UTF-8. Save it as UTF-8.",
    ),
    Refused(
        "review file: NUL bytes",
        changed(FILE, lambda raw: raw[:80] + bytes(9) + raw[80:]),
        (
            "review.yaml, line 5: holds a character that stands in no text. Delete it; if there "
            "are many, the file is damaged."
        ),
    ),
    Refused(
        "review file: binary junk",
        wrote(FILE, bytes(range(256)) * 20),
        "review.yaml, line 2: not readable as text; expected UTF-8. Save it as UTF-8.",
    ),
    Refused(
        "review file: larger than a review is",
        wrote(FILE, b"a: b\n" * 300_000),
        "review.yaml: larger than 1 MB; expected keys and values, not measurements.",
    ),
    Refused(
        "review file: one line of ten million characters",
        wrote(FILE, b"a: " + b"b" * 10_000_000),
        "review.yaml: larger than 1 MB; expected keys and values, not measurements.",
    ),
    Refused(
        "review file: cut in its middle",
        changed(FILE, lambda raw: raw[:612]),
        (
            "logs/current.c: there is no such file. Check the name, and that the file lies there "
            "and may be read."
        ),
    ),
    Refused(
        "review file: a missing space behind a colon",
        _now("name: Hazel", "name:Hazel"),
        (
            "review.yaml, line 3: not readable: a colon where no key can stand. Look for a "
            "missing space after a colon, a quote or bracket left open, or uneven indents."
        ),
    ),
    Refused(
        "review file: a tabulator for an indent",
        _now("  name: Hazel", "\tname: Hazel"),
        (
            "review.yaml, line 2: not readable: a tabulator or sign where none can stand. Look "
            "for a missing space after a colon, a quote or bracket left open, or uneven indents."
        ),
    ),
    Refused(
        "review file: an uneven indent",
        _now("  sample: invented", "   sample: invented"),
        (
            "review.yaml, line 3: not readable: a colon where no key can stand. Look for a "
            "missing space after a colon, a quote or bracket left open, or uneven indents."
        ),
    ),
    Refused(
        "review file: an open quote",
        _now("name: Hazel", 'name: "Hazel'),
        (
            "review.yaml, lines 2 to 5: not readable: a line that does not fit the lines above "
            "it. Look for a missing space after a colon, a quote or bracket left open, or uneven "
            "indents."
        ),
    ),
    Refused(
        "review file: an open bracket",
        _now("[charging, full]", "[charging, full"),
        (
            "review.yaml, lines 50 to 51: not readable: a bracket that is never closed, or a "
            "comma that is missing. Look for a missing space after a colon, a quote or bracket "
            "left open, or uneven indents."
        ),
    ),
    Refused(
        "review file: aliases that multiply",
        _more('a: &a ["x","x"]\n' + "".join(f"k{n}: &b{n} [*a, *a, *a]\n" for n in range(9))),
        "review.yaml, line 56: the alias '*a' is not read. Write its value out.",
    ),
    Refused(
        "review file: an anchor that holds itself",
        _more("a: &a [*a]\n"),
        "review.yaml, line 55: the alias '*a' is not read. Write its value out.",
    ),
    Refused(
        "review file: keys merged in",
        _more("base: &base {x: 1}\nmore: {<<: *base}\n"),
        "review.yaml, line 56: the alias '*base' is not read. Write its value out.",
    ),
    Refused(
        "review file: a tag that runs code",
        _now("name: Hazel", "name: !!python/object/apply:os.system ['true']"),
        (
            "review.yaml, line 2: the tag 'tag:yaml.org,2002:python/object/apply:os.system' is "
            "not read here. Remove it."
        ),
    ),
    Refused(
        "review file: a tag of its own",
        _now("name: Hazel", "name: !lamp Hazel"),
        "review.yaml, line 2: the tag '!lamp' is not read here. Remove it.",
    ),
    Refused(
        "review file: bytes in place of text",
        _now("name: Hazel", "name: !!binary aGF6ZWw="),
        "review.yaml, line 2: the tag 'tag:yaml.org,2002:binary' is not read here. Remove it.",
    ),
    Refused(
        "review file: a key written twice",
        _now("  name: Hazel", "  name: Hazel\n  name: Birch"),
        "review.yaml, line 3: the key 'name' is written twice. Remove one of the two.",
    ),
    Refused(
        "review file: a block written twice",
        _more("cell: {chemistry: LFP}\n"),
        "review.yaml, line 55: the key 'cell' is written twice. Remove one of the two.",
    ),
    Refused(
        "review file: a list as a key",
        _more("[a, b]: 1\n"),
        "review.yaml, line 55: a key is not plain text. Remove the brackets.",
    ),
    Refused(
        "review file: nested a thousand deep",
        _more("a: " + "[" * 1000 + "]" * 1000 + "\n"),
        "review.yaml, line 55: more values, or deeper nested ones, than a review has.",
    ),
    Refused(
        "review file: nested two hundred thousand deep",
        wrote(FILE, "a: " + "[" * 200_000),
        "review.yaml, line 1: more values, or deeper nested ones, than a review has.",
    ),
    Refused(
        "review file: a hundred thousand values",
        wrote(FILE, "a: [" + "1," * 100_000 + "]\n"),
        "review.yaml, line 1: more values, or deeper nested ones, than a review has.",
    ),
    Refused(
        "review file: two documents",
        _more("---\ndevice: {name: Birch}\n"),
        (
            "review.yaml, lines 1 to 55: not readable: a line '---' in its middle. Look for a "
            "missing space after a colon, a quote or bracket left open, or uneven indents."
        ),
    ),
    Refused(
        "review file: a number of ten thousand digits",
        _now("edition: 1", "edition: " + "9" * 10_000),
        "review.yaml, line 6: a number of 10000 digits. Correct it.",
    ),
    Refused(
        "review file: a number beyond all numbers",
        _now("rated_capacity_Ah: 2.0", "rated_capacity_Ah: 1e999"),
        "review.yaml, cell.rated_capacity_Ah: found inf; expected a finite number.",
    ),
)

_BLOCKS = (
    Refused(
        "device: missing",
        _now("device:\n  name: Hazel\n  sample: invented\n", ""),
        "review.yaml, device: the key is missing. Add it.",
    ),
    Refused(
        "device: without a name",
        _now("  name: Hazel\n", ""),
        "review.yaml, device.name: the key is missing. Add it.",
    ),
    Refused(
        "device: a name that is a number",
        _now("name: Hazel", "name: 12"),
        "review.yaml, device.name: found 12; expected text (put it in quotes).",
    ),
    Refused(
        "device: a name of no letters",
        _now("name: Hazel", 'name: ""'),
        "review.yaml, device.name: found ''; expected at least 1 character.",
    ),
    Refused(
        "device: a name that is a novel",
        _now("name: Hazel", "name: " + "Hazel " * 40),
        (
            "review.yaml, device.name: found 'Hazel Hazel Hazel Hazel Hazel Hazel Hazel Hazel "
            "Hazel Ha…; expected at most 120 characters."
        ),
    ),
    Refused(
        "device: text in place of a block",
        _now("device:\n  name: Hazel\n  sample: invented", "device: Hazel"),
        "review.yaml, device: found 'Hazel'; expected a block of keys and values.",
    ),
    Refused(
        "device: a key misspelt",
        _now("  sample:", "  smaple:"),
        "review.yaml, device.smaple: no such key 'smaple'. Did you mean 'sample'?",
    ),
    Refused(
        "a block misspelt", _now("cell:", "cel:"), "review.yaml, cel: no such key 'cel'. Did you mean 'cell'?"
    ),
    Refused(
        "a block that no section knows",
        _more("weather: {sun: true}\n"),
        (
            "review.yaml, weather: no such key 'weather'. Known here: ammeter, cell, charge_runs, "
            "claims, device, drain_ammeter, drain_burden_limit_V, drain_level_percent, "
            "drain_self_discharge_percent, drain_states, findings, headings, last_edition, "
            "reader_capacities_Ah, readout_blinks, readout_cell_ohm, readout_columns, "
            "readout_gain_bound_percent, readout_offset_bound_V, readout_range_V, "
            "readout_resolution_V, readout_shows, "
            "readout_table, readout_voltmeter, readout_wanted_width_V, review, source_ammeter, "
            "source_voltmeter, ui_events, ui_hazards, ui_leave_in, ui_signals, ui_states, "
            "ui_transitions, ui_walks, voltmeter."
        ),
    ),
    Refused(
        "review: an edition of none",
        _now("edition: 1", "edition: -1"),
        "review.yaml, review.edition: found -1; expected at least 0.",
    ),
    Refused(
        "review: half an edition",
        _now("edition: 1", "edition: 1.5"),
        "review.yaml, review.edition: found 1.5; expected a whole number.",
    ),
    Refused(
        "review: an ambient temperature in kelvin",
        _now("ambient_C: 21", "ambient_C: 294"),
        (
            "review.yaml, review.ambient_C: found 294; expected at most 80. A bare number is in "
            "°C; write any other unit out, such as '294 K'."
        ),
    ),
    Refused(
        "review: a humidity beyond all",
        _now("ambient_C: 21", "ambient_C: 21\n  ambient_humidity_percent: 450"),
        "review.yaml, review.ambient_humidity_percent: found 450; expected at most 100.",
    ),
    Refused(
        "review: a key misspelt",
        _now("  title:", "  titel:"),
        "review.yaml, review.titel: no such key 'titel'. Did you mean 'title'?",
    ),
    Refused(
        "claims: a block in place of a list",
        _now("  - {about: readout.largest_error, at_most: 0.1 V}", "  about: readout.largest_error"),
        "review.yaml, claims: found {'about': 'readout.largest_error'}; expected a list.",
    ),
    Refused(
        "claims: about a finding of no section",
        _now("about: readout.largest_error", "about: redaout.largest_error"),
        (
            "review.yaml, claims[1].about: no section makes a finding 'redaout.largest_error'; "
            "expected a finding's key, which starts with one of 'charge.', 'drain.', 'readout.', "
            "'ui.'. Did you mean 'readout.largest_error'?"
        ),
    ),
    Refused(
        "claims: about a finding that its section doesn't make",
        _now("about: readout.largest_error", "about: readout.largest_eror"),
        (
            "review.yaml, claims[1].about: no section makes a finding 'readout.largest_eror'; expected a "
            "finding's key, such as the pages of this review have beside their numbers. Did you mean "
            "'readout.largest_error'?"
        ),
    ),
    Refused(
        "claims: about a state that is not there",
        _now("about: readout.largest_error, at_most: 0.1 V", "about: drain.standbye.mean, at_most: 0.1 mA"),
        (
            "review.yaml, claims[1].about: no section makes a finding 'drain.standbye.mean'; expected a "
            "finding's key, such as the pages of this review have beside their numbers. Did you mean "
            "'drain.standby.mean'?"
        ),
    ),
    Refused(
        "claims: nothing claimed",
        _now(", at_most: 0.1 V", ""),
        ("review.yaml, claims[1]: a claim needs 'at_most', 'at_least', 'about_equal' or, in words, 'says'."),
    ),
    Refused(
        "claims: a unit of another kind",
        _now("at_most: 0.1 V", "at_most: 0.1 A"),
        (
            "review.yaml, claims[1].at_most: 'A' is no unit of the same kind as 'V'; expected a number in V, "
            "or in a unit of its kind."
        ),
    ),
    Refused(
        "claims: days in a unit that is none of time",
        _now("readout.largest_error, at_most: 0.1 V", "drain.standby.days_on_shelf, at_least: 3 nV"),
        (
            "review.yaml, claims[1].at_least: 'nV' is no unit of the same kind as 'd'; expected a number in "
            "d, or in a unit of its kind."
        ),
    ),
    Refused(
        "claims: a unit for what has none",
        _now("about: readout.largest_error, at_most: 0.1 V", "about: charge.top_ups, at_most: 3 V"),
        (
            "review.yaml, claims[1].at_most: 'V' is no unit of the same kind as '1'; expected a number "
            "without a unit."
        ),
    ),
    Refused(
        "claims: no number",
        _now("at_most: 0.1 V", "at_most: little"),
        ("review.yaml, claims[1]: at_most: 'little' is not a number with a unit, such as '0.1 V'."),
    ),
    Refused(
        "claims: at least more than at most",
        _now("at_most: 0.1 V", "at_most: 0.1 V, at_least: 0.2 V"),
        "review.yaml, claims[1]: at_least, 0.2 V, is more than at_most, 0.1 V; exchange them.",
    ),
    Refused(
        "cell: a chemistry that there is none of",
        _now("chemistry: NMC", "chemistry: lead"),
        (
            "review.yaml, cell.chemistry: found 'lead'; expected one of 'NMC', 'NCA', 'LCO', "
            "'LMO', 'LFP' or 'Li-ion'."
        ),
    ),
    Refused(
        "cell: a capacity in words",
        _now("rated_capacity_Ah: 2.0", "rated_capacity_Ah: two"),
        ("review.yaml, cell.rated_capacity_Ah: 'two' is not a number with a unit, such as '1.5 Ah'."),
    ),
    Refused(
        "cell: a capacity in mAh without the unit",
        _now("rated_capacity_Ah: 2.0", "rated_capacity_Ah: 2000"),
        (
            "review.yaml, cell.rated_capacity_Ah: found 2000; expected at most 200. A bare number"
            " is in Ah; write any other unit out, such as '2000 mAh'."
        ),
    ),
    Refused(
        "cell: a negative capacity",
        _now("rated_capacity_Ah: 2.0", "rated_capacity_Ah: -2"),
        "review.yaml, cell.rated_capacity_Ah: found -2; expected more than 0.",
    ),
    Refused(
        "cell: a capacity in Wh",
        _now("rated_capacity_Ah: 2.0", "rated_capacity_Ah: 7.2 Wh"),
        "review.yaml, cell.rated_capacity_Ah: 'Wh' is no unit of the same kind as 'A.h'.",
    ),
    Refused(
        "cell: a charging limit in mV without the unit",
        _now("charge_limit_V: 4.20", "charge_limit_V: 4200"),
        (
            "review.yaml, cell.charge_limit_V: found 4200; expected at most 5. A bare number is "
            "in V; write any other unit out, such as '4200 mV'."
        ),
    ),
    Refused(
        "cell: a charging limit of another chemistry",
        _now("chemistry: NMC", "chemistry: LFP"),
        (
            "review.yaml, cell: an LFP cell with a charging limit of 4.2 V; expected at most 3.9 "
            "V, usually 3.65 V: correct 'chemistry' or 'charge_limit_V'."
        ),
    ),
    Refused(
        "cell: a charging limit below any",
        _now("charge_limit_V: 4.20", "charge_limit_V: 2.1"),
        (
            "review.yaml, cell.charge_limit_V: found 2.1; expected at least 3. A bare number is "
            "in V; write any other unit out, such as '4200 mV'."
        ),
    ),
    Refused(
        "cell: a tolerance in mV without the unit",
        _now("charge_limit_V: 4.20", "charge_limit_V: 4.20\n  charge_limit_tolerance_V: 50"),
        (
            "review.yaml, cell.charge_limit_tolerance_V: found 50.0; expected at most 0.5. A bare"
            " number is in V; write any other unit out, such as '4200 mV'."
        ),
    ),
    Refused(
        "cell: a floor above its limit",
        _now("charge_limit_V: 4.20", "charge_limit_V: 4.20\n  floor_V: 4.5"),
        (
            "review.yaml, cell: a floor of 4.5 V is not below the charging limit of 4.2 V; "
            "correct one of the two."
        ),
    ),
    Refused(
        "cell: a current in mA without the unit",
        _now("max_charge_A: 2.0", "max_charge_A: 2000"),
        (
            "review.yaml, cell.max_charge_A: found 2000; expected at most 200. A bare number is "
            "in A; write any other unit out, such as '500 mA'."
        ),
    ),
    Refused(
        "cell: true for a number",
        _now("max_charge_A: 2.0", "max_charge_A: true"),
        "review.yaml, cell.max_charge_A: yes/no is no quantity in A.",
    ),
    Refused(
        "cell: a list for a number",
        _now("max_charge_A: 2.0", "max_charge_A: [2]"),
        ("review.yaml, cell.max_charge_A: found [2]; expected a number in A, or text such as '1.5 A'."),
    ),
    Refused(
        "voltmeter: missing",
        _now(VOLTMETER, ""),
        (
            (
                "review.yaml, voltmeter: nothing says how accurate the reference voltages are; "
                "expected a block such as {accuracy: '±(0.5 % + 2)', resolution: 1 mV}. Add it, or "
                "give readout.csv a column 'uncertainty' with a value in every row."
            ),
            (
                "review.yaml, voltmeter: the charge runs need this meter's accuracy; expected a line "
                "such as voltmeter: {accuracy: '±(0.5 % + 2)', resolution: 1 mV}. Add it: without it no "
                "number has an uncertainty."
            ),
        ),
    ),
    Refused(
        "voltmeter: no accuracy",
        _now('  accuracy: "±(0.05 % + 2)"\n', ""),
        "review.yaml, voltmeter: a meter needs its accuracy, such as '±(0.5 % + 2)'.",
    ),
    Refused(
        "voltmeter: an accuracy in words",
        _now('"±(0.05 % + 2)"', "good"),
        (
            "review.yaml, voltmeter: 'good' is no accuracy such as '±(0.5 % + 2)': percent of "
            "reading + counts; '0.5 % rdg + 0.1 % range' and '50 ppm + 0.3 mV' are understood too."
        ),
    ),
    Refused(
        "voltmeter: an accuracy of nothing",
        _now('"±(0.05 % + 2)"', '""'),
        (
            "review.yaml, voltmeter: '' is no accuracy such as '±(0.5 % + 2)': percent of reading + counts; "
            "'0.5 % rdg + 0.1 % range' and '50 ppm + 0.3 mV' are understood too."
        ),
    ),
    Refused(
        "voltmeter: an accuracy beyond all meters",
        _now('"±(0.05 % + 2)"', '"±(50 % + 2)"'),
        (
            "review.yaml, voltmeter: '±(50 % + 2)' allows an error of 50 % of the reading; "
            "expected at most 20 %."
        ),
    ),
    Refused(
        "voltmeter: no resolution",
        _now("  resolution: 1 mV\n", ""),
        (
            "review.yaml, voltmeter: a meter needs its resolution (one count of the last digit), "
            "such as '1 mV'."
        ),
    ),
    Refused(
        "voltmeter: a resolution of nothing",
        _now("resolution: 1 mV", "resolution: 0"),
        ("review.yaml, voltmeter: a resolution of 0 V; expected more than 0: one count of the last digit."),
    ),
    Refused(
        "voltmeter: a resolution in A",
        _now("resolution: 1 mV", "resolution: 1 mA"),
        "review.yaml, voltmeter: 'mA' is no unit of the same kind as 'V'.",
    ),
    Refused(
        "voltmeter: a resolution coarser than any",
        _now("resolution: 1 mV", "resolution: 1 V"),
        (
            "review.yaml, voltmeter: a resolution of 1 V on a range of 6 V; expected one count of"
            " the last digit, at most 0.12 V: look at its unit."
        ),
    ),
    Refused(
        "voltmeter: a negative full scale",
        _now("full_scale: 6 V", "full_scale: -6 V"),
        "review.yaml, voltmeter: a full scale of -6 V; expected more than 0.",
    ),
    Refused(
        "ammeter: missing",
        _now(
            AMMETER,
            "",
        ),
        (
            "review.yaml, ammeter: the charge runs need this meter's accuracy; expected a line "
            "such as ammeter: {accuracy: '±(0.5 % + 2)', resolution: 1 mA}. Add it: without it no "
            "number has an uncertainty."
        ),
    ),
    Refused(
        "ammeter: a burden in mΩ without the unit",
        _now("burden_ohm: 0.03", "burden_ohm: 30"),
        (
            "review.yaml, ammeter.burden_ohm: burden and leads of 30.02 Ω would have dropped 30 V"
            " at 1\xa0A; expected a fraction of a volt. A bare number is in ohm; write any other "
            "unit out, such as '30 mohm'."
        ),
    ),
    Refused(
        "ammeter: a negative burden",
        _now("burden_ohm: 0.03", "burden_ohm: -0.03"),
        "review.yaml, ammeter.burden_ohm: found -0.03; expected at least 0.",
    ),
    Refused(
        "ammeter: a key misspelt",
        _now("burden_ohm", "burdn_ohm"),
        "review.yaml, ammeter.burdn_ohm: no such key 'burdn_ohm'. Did you mean 'burden_ohm'?",
    ),
    Refused(
        "charge_runs: a block in place of a list",
        _now(
            "  - source: wall adapter\n    source_controls_charge: false\n    voltage",
            "  source: wall adapter\n  voltage",
        ),
        (
            "review.yaml, line 30: not readable: a colon where no key can stand. Look for a "
            "missing space after a colon, a quote or bracket left open, or uneven indents."
        ),
    ),
    Refused(
        "charge_runs: text in place of a list",
        _now(
            CHARGE_RUNS,
            "charge_runs: logs/current.csv\n",
        ),
        "review.yaml, charge_runs: found 'logs/current.csv'; expected a list.",
    ),
    Refused(
        "charge_runs: no current",
        _now("\n" + _RUN, ""),
        "review.yaml, charge_runs[1].current: the key is missing. Add it.",
    ),
    Refused(
        "charge_runs: a number for a log",
        _now(_RUN, "    current: 12"),
        "review.yaml, charge_runs[1].current: found 12; expected a block of keys and values.",
    ),
    Refused(
        "charge_runs: nothing for a log",
        _now(_RUN, "    current:"),
        ("review.yaml, charge_runs[1].current: found nothing; expected a block of keys and values."),
    ),
    Refused(
        "charge_runs: a log entry without its path",
        _now(_RUN, "    current: {unit: A}"),
        "review.yaml, charge_runs[1].current.path: the key is missing. Add it.",
    ),
    Refused(
        "charge_runs: a sign of two",
        _now(_RUN, "    current: {path: logs/current.csv, sign: 2}"),
        "review.yaml, charge_runs[1].current.sign: found 2; expected one of 1 or -1.",
    ),
    Refused(
        "charge_runs: two runs of one name",
        _now(
            "drain_ammeter:",
            "  - {source: wall adapter, voltage: logs/voltage.csv, current: logs/current.csv}\n"
            "drain_ammeter:",
        ),
        (
            "review.yaml, charge_runs[2].source: two sources are called 'wall adapter'. Give "
            "each run a name of its own, such as 'laptop port, second try'."
        ),
    ),
    Refused(
        "charge_runs: a source of unknown kind",
        _now("source: wall adapter", "source: wall adapter\n    source_kind: perpetual motion"),
        (
            "review.yaml, charge_runs[1].source_kind: 'perpetual motion' is no known kind of "
            "source; known: usb 2.0 before configuration, usb 2.0, usb 3, usb charging port, "
            "type-c 1.5 A, type-c 3 A."
        ),
    ),
    Refused(
        "charge_runs: yes for true",
        _now("source_controls_charge: false", "source_controls_charge: maybe"),
        ("review.yaml, charge_runs[1].source_controls_charge: found 'maybe'; expected true or false."),
    ),
    Refused(
        "charge_runs: a negative time",
        _now(_RUN, _RUN + "\n    cable_out_s: -5"),
        "review.yaml, charge_runs[1].cable_out_s: found -5; expected at least 0.",
    ),
    Refused(
        "drain_states: without a meter",
        both(
            _now(
                DRAIN_AMMETER,
                "",
            ),
            _now(
                AMMETER,
                "",
            ),
            _now(
                CHARGE_RUNS,
                "",
            ),
        ),
        ("review.yaml: drain_states need the meter they were read with: 'drain_ammeter' or 'ammeter'."),
    ),
    Refused(
        "drain_states: a range that the meter does not have",
        _now("range_full_scale_A: 6 mA", "range_full_scale_A: 60 mA"),
        (
            "review.yaml, drain_states, 'standby', range_full_scale_A: the meter has no range of "
            "0.06 A; it has 0.0006 A, 0.006 A."
        ),
    ),
    Refused(
        "drain_states: log and reading",
        _now("log: logs/standby.csv", "log: logs/standby.csv, reading_A: 43 uA"),
        "review.yaml, drain_states[1]: the state 'standby' needs either 'log' or 'reading_A'.",
    ),
    Refused(
        "drain_states: neither log nor reading",
        _now("log: logs/standby.csv, ", ""),
        "review.yaml, drain_states[1]: the state 'standby' needs either 'log' or 'reading_A'.",
    ),
    Refused(
        "drain_states: two of one name",
        _now("name: locked", "name: Standby"),
        "review.yaml: the states 'standby' and 'Standby' would both stand under 'standby'; "
        "each needs a name of its own.",
    ),
    Refused(
        "drain_states: a name of blanks",
        _now("name: locked", "name: ' '"),
        "review.yaml, drain_states[2].name: found ' '; expected at least 1 character.",
    ),
    Refused(
        "drain_states: windows of another kind",
        _now("windows: gapless", "windows: open"),
        ("review.yaml, drain_states[1].windows: found 'open'; expected one of '', 'gapless' or 'with gaps'."),
    ),
    Refused(
        "drain_states: a reading in words",
        _now("reading_A: 2.4 uA", "reading_A: tiny"),
        ("review.yaml, drain_states[2].reading_A: 'tiny' is not a number with a unit, such as '1.5 A'."),
    ),
    Refused(
        "drain_states: a reading in volts",
        _now("reading_A: 2.4 uA", "reading_A: 2.4 uV"),
        "review.yaml, drain_states[2].reading_A: 'uV' is no unit of the same kind as 'A'.",
    ),
    Refused(
        "drain_level_percent: all of it",
        _more("drain_level_percent: 100\n"),
        "review.yaml, drain_level_percent: found 100.0; expected less than 100.",
    ),
    Refused(
        "readout_resolution_V: in mV without the unit",
        _now("readout_resolution_V: 0.1", "readout_resolution_V: 100"),
        (
            "review.yaml, readout_resolution_V: found 100; expected at most 2. A bare number is "
            "in V; write any other unit out, such as '4200 mV'."
        ),
    ),
    Refused(
        "readout_resolution_V: nothing",
        _now("readout_resolution_V: 0.1", "readout_resolution_V: 0"),
        "review.yaml, readout_resolution_V: found 0; expected more than 0.",
    ),
    Refused(
        "readout_range_V: higher end first",
        _more("readout_range_V: [4.2, 3.0]\n"),
        ("review.yaml: readout_range_V: the lower end first, then the higher, such as [3.0, 4.2]."),
    ),
    Refused(
        "readout_range_V: one end only",
        _more("readout_range_V: [3.0]\n"),
        "review.yaml, readout_range_V[2]: the key is missing. Add it.",
    ),
    Refused(
        "readout_table: a number",
        _now("readout_table: readout.csv", "readout_table: 5"),
        "review.yaml, readout_table: found 5; expected text (put it in quotes).",
    ),
    Refused(
        "ui_states: a list",
        _now(
            UI_STATES,
            "ui_states: [off, lit]\n",
        ),
        "review.yaml, ui_states: found ['off', 'lit']; expected a block of keys and values.",
    ),
    Refused(
        "ui_states: missing",
        _now(
            UI_STATES,
            "",
        ),
        (
            "review.yaml, ui_states: there are transitions but no states; expected states as "
            "'standby: {light_percent: 0}', and a table of transitions."
        ),
    ),
    Refused(
        "ui_states: light beyond all",
        _now("light_percent: 80", "light_percent: 800"),
        "review.yaml, ui_states.lit.light_percent: found 800.0; expected at most 100.",
    ),
    Refused(
        "ui_states: an attribute misspelt",
        _now("light_percent: 80", "ligth_percent: 80"),
        (
            "review.yaml, ui_states.lit.ligth_percent: no such key 'ligth_percent'. Did you mean "
            "'light_percent'?"
        ),
    ),
    Refused(
        "ui_states: charging without a cable",
        _now("charging: {charging: true,", "charging: {charging: true, cable: false,"),
        (
            "review.yaml, ui_states.charging: 'charging: true' contradicts 'cable: false'; a "
            "device charges through its cable: correct one of the two, or leave 'cable' out."
        ),
    ),
    Refused(
        "ui_transitions: a number",
        _now("ui_transitions: transitions.csv", "ui_transitions: 5"),
        "review.yaml, ui_transitions: found 5; expected text (put it in quotes), or a list.",
    ),
    Refused(
        "ui_transitions: nothing",
        _now("ui_transitions: transitions.csv\n", ""),
        (
            "review.yaml, ui_transitions: there are states but no transitions; expected states as"
            " 'standby: {light_percent: 0}', and a table of transitions."
        ),
    ),
    Refused(
        "ui_hazards: code in place of a comparison",
        _now("light_percent >= 30 and cable", "__import__('os').system('true')"),
        (
            "review.yaml, ui_hazards[1].when: in '__import__('os').system('true')', at character "
            "1: expected one of light_percent, charging, cable, locked, error, power, shows, name."
        ),
    ),
    Refused(
        "ui_hazards: an attribute that there is none of",
        _now("light_percent >= 30 and cable", "brightness > 30"),
        (
            "review.yaml, ui_hazards[1].when: in 'brightness > 30', at character 1: no such key "
            "'brightness'. Known here: cable, charging, error, light_percent, locked, name, "
            "power, shows."
        ),
    ),
    Refused(
        "ui_hazards: a comparison cut short",
        _now("light_percent >= 30 and cable", "light_percent >="),
        (
            "review.yaml, ui_hazards[1].when: in 'light_percent >=', at character 17: the end "
            "found; 'light_percent' is compared with a number."
        ),
    ),
    Refused(
        "ui_hazards: brackets a thousand deep",
        _now("light_percent >= 30 and cable", "'" + "(" * 240 + "cable" + ")" * 240 + "'"),
        (
            "review.yaml, ui_hazards[1].when: in "
            "'((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((', at character 201: "
            "more than 40 brackets or 'not' inside each other."
        ),
    ),
    Refused(
        "ui_leave_in: a state that there is none of",
        _now("ui_leave_in: [charging, full]", "ui_leave_in: [chraging, full]"),
        "review.yaml, ui_leave_in[1]: unknown state 'chraging'. Did you mean 'charging'?",
    ),
    Refused(
        "ui_leave_in: text in place of a list",
        _now("ui_leave_in: [charging, full]", "ui_leave_in: charging"),
        "review.yaml, ui_leave_in: found 'charging'; expected a list.",
    ),
    Refused(
        "ui_signals: flashes without seconds",
        _now("red: {flashes: 10, seconds: 20}", "red: {flashes: 10}"),
        (
            "review.yaml, ui_signals.red: 'flashes' and 'seconds' belong together: give both, or "
            "the times of one cycle."
        ),
    ),
    Refused(
        "ui_signals: half a flash",
        _now("red: {flashes: 10, seconds: 20}", "red: {flashes: 0.5, seconds: 20}"),
        "review.yaml, ui_signals.red.flashes: found 0.5; expected a whole number.",
    ),
    Refused(
        "ui_walks: an event that there is none of",
        _now("[off, press, press]", "[off, pess, press]"),
        "review.yaml, ui_walks[1]: unknown event 'pess'. Did you mean 'press'?",
    ),
    Refused(
        "ui_events: a kind that there is none of",
        _more("ui_events: {press: foot}\n"),
        ("review.yaml, ui_events.press.kind: found 'foot'; expected one of 'hand' or 'outside'."),
    ),
)

REVIEW = (*_FORM, *_BLOCKS)
