"""Figures: one function per result; they compute nothing."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(  # type: ignore[no-untyped-call]
    __name__,
    submod_attrs={
        "film": ["film_level"],
        "readout": ["readout_next", "readout_staircase", "readout_thresholds"],
        "ui_states": ["state_graph", "trials_grid", "witnesses"],
        "drain": ["drain_days", "drain_folded", "drain_pulses", "drain_settling"],
        "compare": ["compare_curves", "compare_figures", "compare_limits", "compare_per_capacity"],
        "charge_curves": ["charge_curve", "charge_end", "charge_knee"],
        "charge_night": ["charge_delivered", "charge_timeline", "plan_charge"],
        "charge_rig": ["charge_efficiency", "charge_other_cells", "charge_regulation", "charge_without_rig"],
    },
)
