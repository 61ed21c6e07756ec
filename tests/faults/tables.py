"""Tables typed by hand, damaged: the readout's, the transitions', the chapters'."""

from __future__ import annotations

import random

from .entry import Refused, both, changed, removed, swapped, wrote
from .log_form import TODO

READOUT, TRANSITIONS, CHAPTERS, REVIEW = "readout.csv", "transitions.csv", "chapters.csv", "review.yaml"

_READOUT = (
    Refused("readout: no such file", removed(READOUT), TODO),
    Refused("readout: empty", wrote(READOUT, ""), TODO),
    Refused("readout: heading row only", wrote(READOUT, "reference (V),shown\n"), TODO),
    Refused("readout: one reading", wrote(READOUT, "reference (V),shown\n3.6,3.6\n"), TODO),
    Refused("readout: binary junk", wrote(READOUT, random.Random(3).randbytes(3000)), TODO),
    Refused("readout: a picture", wrote(READOUT, b"\x89PNG\r\n\x1a\nabc"), TODO),
    Refused("readout: NUL bytes", changed(READOUT, lambda raw: raw + bytes(64)), TODO),
    Refused("readout: one line of ten million characters", wrote(READOUT, "9" * 10_000_000), TODO),
    Refused("readout: too large for hands", wrote(READOUT, b"3.6,3.6\n" * 7_000_000), TODO),
    Refused("readout: a number that is none", swapped(READOUT, ("3.557", "3.5s7")), TODO),
    Refused("readout: an empty reference", swapped(READOUT, ("3.557,", ",")), TODO),
    Refused("readout: a reference that is no cell's", swapped(READOUT, ("3.557", "35.57")), TODO),
    Refused("readout: millivolts without the unit", swapped(READOUT, ("3.605", "3605"), ("3.557", "3557"), ("4.172", "4172"), ("4.138", "4138"), ("3.081", "3081"), ("3.533", "3533")), TODO),
    Refused("readout: volts headed as mV", swapped(READOUT, ("(V)", "(mV)")), TODO),
    Refused("readout: a unit of another kind in the heading", swapped(READOUT, ("(V)", "(A)")), TODO),
    Refused("readout: reference and shown exchanged", swapped(READOUT, ("reference (V),shown", "shown,reference (V)")), TODO),
    Refused("readout: a shown value between two steps", swapped(READOUT, ("3.557,3.6", "3.557,3.65")), TODO),
    Refused("readout: a shown value that is no voltage", swapped(READOUT, ("3.557,3.6", "3.557,green")), TODO),
    Refused("readout: a decimal comma between commas", swapped(READOUT, ("3.557,3.6,", "3,557,3,6")), TODO),
    Refused("readout: a negative uncertainty", wrote(READOUT, "reference (V),shown,uncertainty (V)\n3.6,3.6,0.01\n3.5,3.5,-0.01\n"), TODO),
    Refused("readout: no column of references", swapped(READOUT, ("reference (V)", "what I saw")), TODO),
    Refused("readout: no column of shown values", swapped(READOUT, ("shown", "what I saw")), TODO),
    Refused("readout: two columns with one heading", swapped(READOUT, ("remark", "shown")), TODO),
    Refused("readout: a row with too many cells", swapped(READOUT, ("after the charge", "after the charge, warm")), TODO),
    Refused("readout: a column named that is not there", swapped(REVIEW, ("readout_table: readout.csv", "readout_table: readout.csv\nreadout_columns: {shown: lamp}")), TODO),
    Refused("readout: a meaning named that there is none of", swapped(REVIEW, ("readout_table: readout.csv", "readout_table: readout.csv\nreadout_columns: {shwon: shown}")), TODO),
    Refused("readout: nothing says how good the reference is", both(swapped(REVIEW, ('voltmeter:\n  accuracy: "±(0.05 % + 2)"\n  resolution: 1 mV\n  full_scale: 6 V\n', "")), swapped(REVIEW, ("charge_runs:\n  - source: wall adapter\n    source_controls_charge: false\n    voltage: logs/voltage.csv\n    current: logs/current.csv\n", ""))), TODO),
    Refused("readout: an unclosed quote", swapped(READOUT, ("after the charge", '"after the charge')), TODO),
    Refused("readout: a workbook that is none", wrote(READOUT, b"PK\x03\x04" + b"x" * 200), TODO),
    Refused("readout: a Parquet file", wrote(READOUT, b"PAR1" + b"x" * 200), TODO),
    Refused("readout: numbers in another alphabet's digits", swapped(READOUT, ("3.557", "\u0663.\u0665\u0665\u0667")), TODO),
    Refused("readout: a reference of no end", swapped(READOUT, ("3.557", "1e999")), TODO),
    Refused("readout: a load that is no number", wrote(READOUT, "reference (V),shown,load (mA)\n3.605,3.6,some\n3.557,3.6,15\n"), TODO),
)

_TRANSITIONS = (
    Refused("transitions: no such file", removed(TRANSITIONS), TODO),
    Refused("transitions: empty", wrote(TRANSITIONS, ""), TODO),
    Refused("transitions: heading row only", wrote(TRANSITIONS, "state,event,next\n"), TODO),
    Refused("transitions: no heading row", changed(TRANSITIONS, lambda raw: raw.partition(b"\n")[2]), TODO),
    Refused("transitions: a state misspelt", swapped(TRANSITIONS, ("lit,press,off", "lti,press,off")), TODO),
    Refused("transitions: a next state misspelt", swapped(TRANSITIONS, ("lit,press,off", "lit,press,of")), TODO),
    Refused("transitions: an event of which nobody knows who causes it", swapped(TRANSITIONS, ("lit,press,off", "lit,sneeze,off")), TODO),
    Refused("transitions: no next state", swapped(TRANSITIONS, ("lit,press,off", "lit,press,")), TODO),
    Refused("transitions: a count that is none", swapped(TRANSITIONS, ("lit,press,off,10", "lit,press,off,ten")), TODO),
    Refused("transitions: seen more often than tried", swapped(TRANSITIONS, ("lit,press,off,10,10", "lit,press,off,11,10")), TODO),
    Refused("transitions: a count beyond all counting", swapped(TRANSITIONS, ("lit,press,off,10,10", "lit,press,off,1e300,1e300")), TODO),
    Refused("transitions: seen without tried", swapped(TRANSITIONS, ("lit,press,off,10,10", "lit,press,off,10,")), TODO),
    Refused("transitions: a time of the video that is none", swapped(TRANSITIONS, ("0:12", "0:75")), TODO),
    Refused("transitions: one outcome twice", changed(TRANSITIONS, lambda raw: raw + b"lit,press,off,10,10,,\n"), TODO),
    Refused("transitions: an outcome of what cannot occur", changed(TRANSITIONS, lambda raw: raw + b"lit,press,n/a,,,,\n"), TODO),
    Refused("transitions: two counts of tries", changed(TRANSITIONS, lambda raw: raw + b"lit,press,lit,1,12,,\n"), TODO),
    Refused("transitions: the cable put in and not in", swapped(TRANSITIONS, ("lit,cable in,charging", "lit,cable in,off")), TODO),
    Refused("transitions: a state that nothing leads to", swapped(TRANSITIONS, ("charging,charge complete,full,3,3", "charging,charge complete,n/a,,")), TODO),
    Refused("transitions: NUL bytes", changed(TRANSITIONS, lambda raw: raw[:50] + bytes(8) + raw[50:]), TODO),
    Refused("transitions: columns exchanged", swapped(TRANSITIONS, ("state,event,next", "event,state,next")), TODO),
)

_CHAPTERS = (
    Refused("chapters: empty", wrote(CHAPTERS, ""), TODO),
    Refused("chapters: no column of times", swapped(CHAPTERS, ("time,", "when,")), TODO),
    Refused("chapters: a time that is none", swapped(CHAPTERS, ("0:40", "0:4o")), TODO),
    Refused("chapters: a time of sixty seconds", swapped(CHAPTERS, ("0:40", "0:60")), TODO),
    Refused("chapters: a time in the next week", swapped(CHAPTERS, ("2:15", "200:15:00")), TODO),
    Refused("chapters: times that fall", swapped(CHAPTERS, ("0:40", "3:40")), TODO),
    Refused("chapters: no title", swapped(CHAPTERS, ("A night on the charger", "")), TODO),
    Refused("chapters: about a section that is none", swapped(CHAPTERS, (",charge", ",chrage")), TODO),
    Refused("chapters: about a finding of no section", swapped(CHAPTERS, ("drain.standby.mean", "drian.standby.mean")), TODO),
    Refused("chapters: binary junk", wrote(CHAPTERS, random.Random(4).randbytes(2000)), TODO),
    Refused("chapters: a title with the delimiter in it", swapped(CHAPTERS, ("A night on the charger", "A night, on the charger")), TODO),
)

TABLES = (*_READOUT, *_TRANSITIONS, *_CHAPTERS)
