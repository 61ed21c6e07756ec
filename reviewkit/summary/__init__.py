"""What a review says in all: made from its findings, and from nothing else."""

from reviewkit.summary.bench import again, edition, instruments
from reviewkit.summary.cautions import cautions
from reviewkit.summary.evidence import claims, not_tested, sections, table, words
from reviewkit.summary.key_figures import key_figures
from reviewkit.summary.opening import paragraph
from reviewkit.summary.record import Record as Record
from reviewkit.summary.record import read

__all__ = [
    "again",
    "cautions",
    "claims",
    "edition",
    "instruments",
    "key_figures",
    "not_tested",
    "paragraph",
    "read",
    "sections",
    "table",
    "words",
]
