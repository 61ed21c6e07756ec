"""The cautions that every published page and every bench sheet carry."""

CAUTIONS = (
    "Lithium-ion cells can vent, burn or explode when they are over-charged, over-discharged, shorted, "
    "crushed or overheated.",
    "Charge where you can watch it, on a surface that can’t burn. Stop at heat, swelling, smell or hissing.",
    "Don’t charge a cell that is below the floor its data sheet states.",
    "Never bypass a protection circuit.",
    "Mind polarity and the meter’s range before you connect: a meter left in a current jack is a short "
    "circuit.",
    "The cell’s and the device’s instructions, local rules and an accredited laboratory come first.",
)
"""For whoever repeats the measurements."""

SCOPE = "This tells what one sample did on one bench. It certifies nothing."
"""What a review is, and is not."""
