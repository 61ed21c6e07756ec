"""What a review says in all: made from its findings, and from nothing else."""

from reviewkit.summary.evidence import again, claims, edition, instruments, not_tested, sections, table, words
from reviewkit.summary.opening import cautions, paragraph
from reviewkit.summary.record import Record as Record
from reviewkit.summary.record import read
from reviewkit.summary.spoken import key_figures

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
