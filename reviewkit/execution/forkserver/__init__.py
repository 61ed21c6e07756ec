"""Quick execution: notebooks run in children forked from a process that has its libraries loaded already."""

from reviewkit.execution.forkserver.client import abandon, call, execute, serving

__all__ = ["abandon", "call", "execute", "serving"]
