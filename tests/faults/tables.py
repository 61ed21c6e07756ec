"""Tables typed by hand, damaged: the readout's, the transitions', the chapters'."""

from __future__ import annotations

import random

from .entry import Refused, both, changed, removed, swapped, wrote
from .good import CHARGE_RUNS, VOLTMETER

READOUT, TRANSITIONS, CHAPTERS, REVIEW = "readout.csv", "transitions.csv", "chapters.csv", "review.yaml"

_READOUT = (
    Refused(
        "readout: no such file",
        removed(READOUT),
        ("readout.csv: there is no such file. Check the name, and that the file lies there and may be read."),
    ),
    Refused(
        "readout: empty",
        wrote(READOUT, ""),
        "readout.csv: the file is empty. Give it a header row and one row per reading.",
    ),
    Refused(
        "readout: heading row only",
        wrote(READOUT, "reference (V),shown\n"),
        (
            "readout.csv: the table has 0 readings; expected at least two. One reading leaves a "
            "whole step open: read at another voltage, half a step away."
        ),
    ),
    Refused(
        "readout: one reading",
        wrote(READOUT, "reference (V),shown\n3.6,3.6\n"),
        (
            "readout.csv: the table has 1 reading; expected at least two. One reading leaves a "
            "whole step open: read at another voltage, half a step away."
        ),
    ),
    Refused(
        "readout: binary junk",
        wrote(READOUT, random.Random(3).randbytes(3000)),
        "readout.csv: the file holds NUL bytes, so it is damaged or no text. Export it again.",
    ),
    Refused(
        "readout: a picture",
        wrote(READOUT, b"\x89PNG\r\n\x1a\nabc"),
        "readout.csv: this is a picture, no text. Save it as CSV or XLSX.",
    ),
    Refused(
        "readout: NUL bytes",
        changed(READOUT, lambda raw: raw + bytes(64)),
        "readout.csv: the file holds NUL bytes, so it is damaged or no text. Export it again.",
    ),
    Refused(
        "readout: one line of ten million characters",
        wrote(READOUT, "9" * 10_000_000),
        "readout.csv: a line is longer than 100 000 characters. Save it as CSV or XLSX.",
    ),
    Refused(
        "readout: too large for hands",
        wrote(READOUT, b"3.6,3.6\n" * 7_000_000),
        (
            "readout.csv: the file is larger than 50 MB; expected a table typed by hand. Check "
            "the name: a meter's log goes elsewhere in the review file."
        ),
    ),
    Refused(
        "readout: a number that is none",
        swapped(READOUT, ("3.557", "3.5s7")),
        ("readout.csv, row 3, column 'reference (V)': '3.5s7' is no number; expected a number such as 4.12."),
    ),
    Refused(
        "readout: an empty reference",
        swapped(READOUT, ("3.557,", ",")),
        ("readout.csv, row 3, column 'reference (V)': the cell is empty; expected a number such as 4.12."),
    ),
    Refused(
        "readout: a reference that is no cell's",
        swapped(READOUT, ("3.557", "35.57")),
        (
            "readout.csv, row 3: the reference of 35.57 V is no voltage of a lithium-ion cell; "
            "expected 0.5 V to 6 V. Correct the reading; a column in millivolts needs the unit in"
            " its heading."
        ),
    ),
    Refused(
        "readout: millivolts without the unit",
        swapped(
            READOUT,
            ("3.605", "3605"),
            ("3.557", "3557"),
            ("4.172", "4172"),
            ("4.138", "4138"),
            ("3.081", "3081"),
            ("3.533", "3533"),
        ),
        (
            "readout.csv, row 2: the reference of 3605 V is no voltage of a lithium-ion cell; "
            "every row has such a fault; expected 0.5 V to 6 V. Correct the reading; a column in "
            "millivolts needs the unit in its heading."
        ),
    ),
    Refused(
        "readout: volts headed as mV",
        swapped(READOUT, ("(V)", "(mV)")),
        (
            "readout.csv, row 2: the reference of 0.003605 V is no voltage of a lithium-ion cell;"
            " every row has such a fault; expected 0.5 V to 6 V. Correct the reading; a column in"
            " millivolts needs the unit in its heading."
        ),
    ),
    Refused(
        "readout: a unit of another kind in the heading",
        swapped(READOUT, ("(V)", "(A)")),
        (
            "readout.csv, header, column 'reference (A)': 'A' is no unit of the same kind as 'V'."
            " Correct the unit in the heading."
        ),
    ),
    Refused(
        "readout: reference and shown exchanged",
        swapped(READOUT, ("reference (V),shown", "shown,reference (V)")),
        (
            "readout.csv, header: reference and shown value look exchanged: every reference is a "
            "multiple of the readout's resolution, 0.1 V, and no shown value is. Exchange the two"
            " headings."
        ),
    ),
    Refused(
        "readout: a shown value between two steps",
        swapped(READOUT, ("3.557,3.6", "3.557,3.65")),
        (
            "readout.csv, row 3: the shown value 3.65 is no multiple of the readout's resolution,"
            " 0.1 V; expected such as 3.6. Correct the reading, or readout_resolution_V in "
            "review.yaml."
        ),
    ),
    Refused(
        "readout: a shown value that is no voltage",
        swapped(READOUT, ("3.557,3.6", "3.557,green")),
        (
            "readout.csv, row 3: 'green' is no shown voltage; expected such as '3.9' or '3 "
            "blinks, pause, 9 blinks'. Correct it; for a readout in bars or percent set "
            "readout_shows: marks."
        ),
    ),
    Refused(
        "readout: a decimal comma between commas",
        swapped(READOUT, ("3.557,3.6,", "3,557,3,6")),
        (
            "readout.csv, row 3: the row has 4 cells, the header 3. Put a cell that holds the "
            "delimiter in double quotes, or use ';' as the delimiter."
        ),
    ),
    Refused(
        "readout: a negative uncertainty",
        wrote(READOUT, "reference (V),shown,uncertainty (V)\n3.6,3.6,0.01\n3.5,3.5,-0.01\n"),
        (
            "readout.csv, row 3: an uncertainty is negative; expected 0 V to 1 V. Drop the sign; a column "
            "in millivolts needs the unit in its heading."
        ),
    ),
    Refused(
        "readout: no column of references",
        swapped(READOUT, ("reference (V)", "what I saw")),
        (
            "readout.csv, header: there is no column for 'reference'; expected a heading such as "
            "'reference', 'reference voltage', 'voltmeter'. The file has: 'what I saw', 'shown', "
            "'remark'."
        ),
    ),
    Refused(
        "readout: no column of shown values",
        swapped(READOUT, ("shown", "what I saw")),
        (
            "readout.csv, header: there is no column for 'shown'; expected a heading such as "
            "'shown', 'shown value', 'displayed'. The file has: 'reference (V)', 'what I saw', "
            "'remark'."
        ),
    ),
    Refused(
        "readout: two columns with one heading",
        swapped(READOUT, ("remark", "shown")),
        "readout.csv, header: two columns are headed 'shown'. Rename one of them.",
    ),
    Refused(
        "readout: a row with too many cells",
        swapped(READOUT, ("after the charge", "after the charge, warm")),
        (
            "readout.csv, row 4: the row has 4 cells, the header 3. Put a cell that holds the "
            "delimiter in double quotes, or use ';' as the delimiter."
        ),
    ),
    Refused(
        "readout: a column named that is not there",
        swapped(
            REVIEW,
            ("readout_table: readout.csv", "readout_table: readout.csv\nreadout_columns: {shown: lamp}"),
        ),
        (
            "readout.csv, header: there is no column 'lamp'; expected a heading such as 'shown', "
            "'shown value', 'displayed'. The file has: 'reference (V)', 'shown', 'remark'."
        ),
    ),
    Refused(
        "readout: a meaning named that there is none of",
        swapped(
            REVIEW,
            ("readout_table: readout.csv", "readout_table: readout.csv\nreadout_columns: {shwon: shown}"),
        ),
        (
            "review.yaml, readout_columns: 'shwon' is none of the columns reference, shown, "
            "uncertainty, load, warning, remark."
        ),
    ),
    Refused(
        "readout: nothing says how good the reference is",
        both(
            swapped(
                REVIEW,
                (VOLTMETER, ""),
            ),
            swapped(
                REVIEW,
                (
                    CHARGE_RUNS,
                    "",
                ),
            ),
        ),
        (
            "review.yaml, voltmeter: nothing says how accurate the reference voltages are; "
            "expected a block such as {accuracy: '±(0.5 % + 2)', resolution: 1 mV}. Add it, or "
            "give readout.csv a column 'uncertainty' with a value in every row."
        ),
    ),
    Refused(
        "readout: an unclosed quote",
        swapped(READOUT, ("after the charge", '"after the charge')),
        (
            "readout.csv, row 4: a quote opens in this row and swallows the rows below; expected "
            "double quotes in pairs, around a cell. Remove the quote, or close it."
        ),
    ),
    Refused(
        "readout: a workbook that is none",
        wrote(READOUT, b"PK\x03\x04" + b"x" * 200),
        "readout.csv: the workbook is damaged and cannot be read. Save it again, or as CSV.",
    ),
    Refused(
        "readout: a Parquet file",
        wrote(READOUT, b"PAR1" + b"x" * 200),
        ("readout.csv: this kind of file is not read; expected CSV or XLSX. Save it as CSV or XLSX."),
    ),
    Refused(
        "readout: a reference of no end",
        swapped(READOUT, ("3.557", "1e999")),
        ("readout.csv, row 3, column 'reference (V)': '1e999' is no number; expected a number such as 4.12."),
    ),
    Refused(
        "readout: a load that is no number",
        wrote(READOUT, "reference (V),shown,load (mA)\n3.605,3.6,some\n3.557,3.6,15\n"),
        ("readout.csv, row 2, column 'load (mA)': 'some' is no number; expected a number such as 4.12."),
    ),
)

_TRANSITIONS = (
    Refused(
        "transitions: no such file",
        removed(TRANSITIONS),
        (
            "transitions.csv: there is no such file. Check the name, and that the file lies there"
            " and may be read."
        ),
    ),
    Refused(
        "transitions: empty",
        wrote(TRANSITIONS, ""),
        "transitions.csv: the file is empty. Give it a header row and one row per reading.",
    ),
    Refused(
        "transitions: heading row only",
        wrote(TRANSITIONS, "state,event,next\n"),
        (
            "transitions.csv: the table has no rows; expected one row for each state, event and "
            "outcome. Type in what you tried."
        ),
    ),
    Refused(
        "transitions: no heading row",
        changed(TRANSITIONS, lambda raw: raw.partition(b"\n")[2]),
        (
            "transitions.csv, row 1: the first row holds values such as '10', no headings; "
            "expected a row of headings. Put one above it."
        ),
    ),
    Refused(
        "transitions: a state misspelt",
        swapped(TRANSITIONS, ("lit,press,off", "lti,press,off")),
        (
            "transitions.csv, row 3, column 'state': unknown state 'lti'; expected a state of "
            "'ui_states' (off, lit, charging, full). Did you mean 'lit'? Correct the name, or add"
            " it to 'ui_states'."
        ),
    ),
    Refused(
        "transitions: a next state misspelt",
        swapped(TRANSITIONS, ("lit,press,off", "lit,press,of")),
        (
            "transitions.csv, row 3, column 'next': unknown state 'of'; expected a state of "
            "'ui_states' (off, lit, charging, full). Did you mean 'off'? Correct the name, or add"
            " it to 'ui_states'."
        ),
    ),
    Refused(
        "transitions: an event of which nobody knows who causes it",
        swapped(TRANSITIONS, ("lit,press,off", "lit,sneeze,off")),
        (
            "transitions.csv, row 3: event 'sneeze' is of unknown kind; expected 'hand' or "
            "'outside'. Add 'sneeze: hand' to 'ui_events' if the user does it, else 'sneeze: "
            "outside'."
        ),
    ),
    Refused(
        "transitions: no next state",
        swapped(TRANSITIONS, ("lit,press,off", "lit,press,")),
        (
            "transitions.csv, row 3: 'next' is empty. Enter the state it led to, or 'n/a' if the "
            "event cannot occur there."
        ),
    ),
    Refused(
        "transitions: a count that is none",
        swapped(TRANSITIONS, ("lit,press,off,10", "lit,press,off,ten")),
        ("transitions.csv, row 3, column 'seen': 'ten' is no count; expected a whole number such as 10."),
    ),
    Refused(
        "transitions: seen more often than tried",
        swapped(TRANSITIONS, ("lit,press,off,10,10", "lit,press,off,11,10")),
        (
            "transitions.csv, row 3: seen 11 times, but tried only 10. 'tried' counts all tries "
            "of the event in that state, whatever came of them."
        ),
    ),
    Refused(
        "transitions: a count beyond all counting",
        swapped(TRANSITIONS, ("lit,press,off,10,10", "lit,press,off,1e300,1e300")),
        ("transitions.csv, row 3, column 'seen': '1e300' is no count; expected a whole number such as 10."),
    ),
    Refused(
        "transitions: seen without tried",
        swapped(TRANSITIONS, ("lit,press,off,10,10", "lit,press,off,10,")),
        (
            "transitions.csv, row 3: 'seen' has a count and 'tried' has none. Give both, or "
            "neither if the trials were not counted."
        ),
    ),
    Refused(
        "transitions: a time of the video that is none",
        swapped(TRANSITIONS, ("0:12", "0:75")),
        (
            "transitions.csv, row 2, column 'video': '0:75' is no time; expected a time such as "
            "12:34 or 1:02:03."
        ),
    ),
    Refused(
        "transitions: one outcome twice",
        changed(TRANSITIONS, lambda raw: raw + b"lit,press,off,10,10,,\n"),
        (
            "transitions.csv, row 3, row 11: the same outcome of 'press' in 'lit' stands twice. "
            "Put the counts together in one row."
        ),
    ),
    Refused(
        "transitions: an outcome of what cannot occur",
        changed(TRANSITIONS, lambda raw: raw + b"lit,press,n/a,,,,\n"),
        (
            "transitions.csv, row 3, row 11: 'press' in 'lit' has an outcome and 'n/a'. Remove "
            "the 'n/a', or the outcome."
        ),
    ),
    Refused(
        "transitions: two counts of tries",
        changed(TRANSITIONS, lambda raw: raw + b"lit,press,lit,1,12,,\n"),
        (
            "transitions.csv, row 3, row 11: 'press' in 'lit' has different counts in 'tried'. "
            "Write the number of all tries on each of its rows."
        ),
    ),
    Refused(
        "transitions: the cable put in and not in",
        swapped(TRANSITIONS, ("lit,cable in,charging", "lit,cable in,off")),
        (
            "transitions.csv, row 5: 'cable in' leads to 'off', which has 'cable: false'; "
            "expected a state with 'cable: true'. Correct the row, or the state's attributes in "
            "'ui_states'; a state that looks the same but differs in this is a state of its own."
        ),
    ),
    Refused(
        "transitions: NUL bytes",
        changed(TRANSITIONS, lambda raw: raw[:50] + bytes(8) + raw[50:]),
        ("transitions.csv: the file holds NUL bytes, so it is damaged or no text. Export it again."),
    ),
    Refused(
        "transitions: columns exchanged",
        swapped(TRANSITIONS, ("state,event,next", "event,state,next")),
        (
            "transitions.csv, header: 'state' and 'event' look exchanged: every event is a state "
            "of 'ui_states'. Exchange the two headings."
        ),
    ),
)

_CHAPTERS = (
    Refused(
        "chapters: empty",
        wrote(CHAPTERS, ""),
        "chapters.csv: the file is empty. Give it a header row and one row per reading.",
    ),
    Refused(
        "chapters: no column of times",
        swapped(CHAPTERS, ("time,", "when,")),
        (
            "chapters.csv, header: there is no column for 'time'; expected a heading such as "
            "'time', 'start', 'time in video'. The file has: 'when', 'title', 'about'."
        ),
    ),
    Refused(
        "chapters: a time that is none",
        swapped(CHAPTERS, ("0:40", "0:4o")),
        (
            "chapters.csv, row 3, column 'time': '0:4o' is no time; expected the moment the "
            "chapter starts, such as 0:40 or 1:02:03. Type it as your player shows it."
        ),
    ),
    Refused(
        "chapters: a time of sixty seconds",
        swapped(CHAPTERS, ("0:40", "0:60")),
        (
            "chapters.csv, row 3, column 'time': '0:60' is no time; expected the moment the "
            "chapter starts, such as 0:40 or 1:02:03. Type it as your player shows it."
        ),
    ),
    Refused(
        "chapters: a time in the next week",
        swapped(CHAPTERS, ("2:15", "200:15:00")),
        (
            "chapters.csv, row 4, column 'time': '200:15:00' is no time; expected the moment the "
            "chapter starts, such as 0:40 or 1:02:03. Type it as your player shows it."
        ),
    ),
    Refused(
        "chapters: times that fall",
        swapped(CHAPTERS, ("0:40", "3:40")),
        (
            "chapters.csv, row 4, column 'time': 2:15 is not after 3:40 in row 3; expected times "
            "that rise from row to row. Put the rows in the order of the video."
        ),
    ),
    Refused(
        "chapters: no title",
        swapped(CHAPTERS, ("A night on the charger", "")),
        (
            "chapters.csv, row 3, column 'title': the chapter has no title; expected a few words."
            " Only a last row, which says where the video ends, goes without."
        ),
    ),
    Refused(
        "chapters: about a section that is none",
        swapped(CHAPTERS, (",charge", ",chrage")),
        (
            "chapters.csv, row 3, column 'about': there is no section or finding 'chrage'; "
            "expected a section's name or a finding's key, or nothing. Did you mean 'charge'?"
        ),
    ),
    Refused(
        "chapters: about a finding of no section",
        swapped(CHAPTERS, ("drain.standby.mean", "drian.standby.mean")),
        (
            "chapters.csv, row 4, column 'about': there is no section or finding "
            "'drian.standby.mean'; expected a section's name or a finding's key, or nothing. Did "
            "you mean 'drain.standby.mean'?"
        ),
    ),
    Refused(
        "chapters: binary junk",
        wrote(CHAPTERS, random.Random(4).randbytes(2000)),
        ("chapters.csv: the file holds NUL bytes, so it is damaged or no text. Export it again."),
    ),
    Refused(
        "chapters: a title with the delimiter in it",
        swapped(CHAPTERS, ("A night on the charger", "A night, on the charger")),
        (
            "chapters.csv, row 3: the row has 4 cells, the header 3. Put a cell that holds the "
            "delimiter in double quotes, or use ';' as the delimiter."
        ),
    ),
)

TABLES = (*_READOUT, *_TRANSITIONS, *_CHAPTERS)
