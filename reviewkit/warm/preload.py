"""What the server loads before it forks: the libraries of the section notebooks and of their kernel."""

from __future__ import annotations

import importlib

from reviewkit import lean

_THREADED = ("pyarrow", "polars")
"""Libraries that start threads when imported: a child imports them where it needs them."""

_LIBRARIES = (
    *("numpy", "pandas", "scipy.special", "scipy.optimize", "scipy.interpolate"),
    *("plotly.graph_objs._figure", "plotly.io", "networkx", "uncertainties", "pydantic"),
    *(
        "nbformat",
        "IPython.core.interactiveshell",
        "ipykernel.inprocess.ipkernel",
        "ipykernel.debugger",
        "papermill",
    ),
)
_SECTIONS = ("charge", "readout", "drain", "ui_states", "side_by_side", "summary", "figures")


def load() -> None:
    """Import everything."""
    with lean.without(*_THREADED, *lean.SCHEMA_EXTRAS, "black", "debugpy"):
        for name in _LIBRARIES:
            importlib.import_module(name)
        for name in _SECTIONS:
            importlib.import_module(f"reviewkit.{name}")
        importlib.import_module("reviewkit.warm.child")
        _rehearse()


def _rehearse() -> None:
    """Use what builds tables of its own when first used."""
    import nbformat
    import plotly.graph_objects as go

    from reviewkit import units

    units.factor("mA", "A")
    nbformat.validate({"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5})
    go.Figure(
        {"data": [{"type": "scatter", "y": [1.0]}], "layout": {"shapes": [{}], "annotations": [{}]}}
    ).to_json()
