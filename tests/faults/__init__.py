"""Damaged inputs, each with the message that it must produce."""

from .corpus import REFUSED, REMARKED
from .entry import Refused, Remarked
from .good import write

__all__ = ["REFUSED", "REMARKED", "Refused", "Remarked", "write"]
