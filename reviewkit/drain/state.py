"""One state's drain."""

from __future__ import annotations

from dataclasses import dataclass

from reviewkit.drain.decompose import Decomposition
from reviewkit.drain.inputs import DrainState
from reviewkit.drain.mean import Mean
from reviewkit.drain.ranges import Fitness
from reviewkit.drain.storage import Days
from reviewkit.logs import Log
from reviewkit.metrology.meter import Meter


@dataclass(frozen=True)
class StateDrain:
    """One state: what was read, what it holds, and what it means.

    Parameters
    ----------
    state : DrainState
    meter : Meter
        The range in use.
    log : Log or None
        None for a single reading.
    split : Decomposition or None
        None for a single reading.
    mean : Mean
    mean_fit : Fitness
        Of the range, for the mean.
    base_fit : Fitness or None
        Of the range, for the base level.
    to_level, to_empty : Days
    """

    state: DrainState
    meter: Meter
    log: Log | None
    split: Decomposition | None
    mean: Mean
    mean_fit: Fitness
    base_fit: Fitness | None
    to_level: Days
    to_empty: Days

    @property
    def name(self) -> str:
        """The state's name."""
        return self.state.name

    @property
    def slug(self) -> str:
        """The name as findings' keys spell it."""
        return self.state.slug

    @property
    def inputs(self) -> tuple[str, ...]:
        """Files it was made from."""
        return () if self.log is None else (self.log.path,)

    @property
    def can_tell(self) -> bool:
        """Whether the meter was fit for the mean and the rows hold all of it."""
        contradicted = self.split is not None and self.split.contradicted
        return self.mean_fit.fit and self.mean.value is not None and not contradicted
