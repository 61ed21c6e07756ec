"""Damaged inputs, each with the message that it must produce."""

from .corpus import FAILING, REFUSED, REMARKED
from .entry import Refused, Remarked
from .good import write
from .notebooks import Failing

__all__ = ["FAILING", "REFUSED", "REMARKED", "Failing", "Refused", "Remarked", "write"]
