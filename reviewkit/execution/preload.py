"""What the server loads before it forks: the libraries of the section notebooks and of their kernel."""

from __future__ import annotations

import importlib
from functools import cache

from reviewkit.system import slim_imports

_THREADED = ("polars",)
"""Libraries that start threads when imported: a child imports them where it needs them. pyarrow is not one:
its only thread is its allocator's, which jemalloc sees through a fork."""

_UNUSED = ("black", "debugpy", "dask", "distributed", "xarray", "sparse")
"""What others import where it is installed: to lay out, to debug, to recognise as an array."""

_MOST = (
    *("numpy", "pandas", "scipy.special", "pydantic", "plotly.graph_objs._figure", "plotly.io"),
    *("uncertainties", "nbformat", "papermill"),
    *("IPython.core.interactiveshell", "ipykernel.inprocess.ipkernel", "ipykernel.debugger"),
    *(f"reviewkit.{name}" for name in ("charge", "readout", "drain", "ui_states", "summary", "figures")),
    *("reviewkit.comparison", "reviewkit.execution.in_process"),
)
"""What every section needs, or more than one."""

_REST = ("scipy.optimize", "scipy.interpolate", "networkx")
"""What one section alone needs: its child can load that itself, beside the others."""


def most() -> None:
    """Load what any section needs, and use what builds tables of its own when first used."""
    for name in _MOST:
        _load(name)
    import nbformat
    import plotly.graph_objects as go

    from reviewkit.metrology import units

    with slim_imports.without(*_UNUSED):
        units.factor("mA", "A")
    nbformat.validate({"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5})
    go.Figure(
        {"data": [{"type": "scatter", "y": [1.0]}], "layout": {"shapes": [{}], "annotations": [{}]}}
    ).to_json()


@cache
def rest() -> None:
    """Load what single sections need."""
    for name in _REST:
        _load(name)


def _load(name: str) -> None:
    with slim_imports.without(*_THREADED, *slim_imports.SCHEMA_EXTRAS, *_UNUSED):
        importlib.import_module(name)
