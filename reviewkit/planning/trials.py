"""How often to try what should never happen, and what to mind at the bench."""

from __future__ import annotations

from reviewkit.findings.cautions import CAUTIONS
from reviewkit.findings.text_and_table import Answer
from reviewkit.metrology import conformity, formatting
from reviewkit.planning.inputs import Session


def trials(session: Session) -> Answer:
    """Return how many trials without the event prove how rare it is.

    Parameters
    ----------
    session : Session

    Examples
    --------
    >>> trials(session).rows
    (('10\u202f%', '29'), ('5\u202f%', '59'), ('1\u202f%', '299'))
    """
    rows = tuple(
        (f"{bound:g}{formatting.THIN}%", formatting.number(conformity.trials_needed(bound / 100), 0))
        for bound in session.trials_bound_percent
    )
    told = (
        "Something that was never seen has been shown to be rare, not to be impossible: the bound is "
        "one-sided, at 95 % confidence, and about 3 over the number of trials.",
        "One trial in which it does happen changes the question; report both counts.",
    )
    return Answer(told, ("to say it happens in less than", "try this often, and see it never"), rows)


def cautions() -> Answer:
    """Return what to mind before anything is connected.

    Examples
    --------
    >>> cautions().sentences[0][:23]
    'A lithium-ion cell that'
    """
    return Answer(CAUTIONS)
