"""The cautions that every published page and every bench sheet carry."""

CAUTIONS = (
    "A lithium-ion cell that is charged too far, emptied too far, shorted, crushed or too hot can vent, "
    "burn or burst.",
    "Charge it where you see it, on something that does not burn. Heat, swelling, a smell or a hiss: stop, "
    "and keep away from it.",
    "Leave a cell uncharged that has fallen below its data sheet’s floor.",
    "Leave the protection circuit alone.",
    "Check polarity, jack and range before you connect: a meter whose lead sits in the current jack shorts "
    "what it is put across.",
    "What the instructions of cell and device, local rules and an accredited laboratory say comes first.",
)
"""For whoever repeats the measurements."""

SCOPE = "This tells what one sample did on one bench. It certifies nothing."
"""What a review is, and is not."""
