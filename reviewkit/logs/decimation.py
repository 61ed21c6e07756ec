"""Fewer rows of a long log, where more of them would say the same.

A level is known to its scatter over the square root of the rows read, and that is in its budget: from tens of
thousands of rows on it is a hundred times smaller than a single step of the meter's display.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

MOST_ROWS = 25_000
_LEAST_GROUP = 4
_GOLDEN = 0.6180339887498949


@lru_cache(maxsize=32)
def rows(count: int, most: int = MOST_ROWS) -> npt.NDArray[np.intp] | slice:
    """Return some of `count` rows: one of each group of as many, the first and the last included.

    Parameters
    ----------
    count : int
    most : int
        Logs of less than four times as many rows are left as they are.

    Notes
    -----
    Which row of its group is taken changes from group to group, so that no period of a current that is
    switched on and off can hide between them.
    """
    group = count // most
    if group < _LEAST_GROUP:
        return slice(None)
    starts: npt.NDArray[np.intp] = np.arange(0, count, group, dtype=np.intp)
    inside = (np.arange(len(starts)) * _GOLDEN % 1 * group).astype(np.intp)
    chosen: npt.NDArray[np.intp] = np.minimum(starts + inside, count - 1)
    chosen[0], chosen[-1] = 0, count - 1
    chosen.setflags(write=False)
    return chosen
