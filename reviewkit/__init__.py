"""Turns bench measurements of a built-in lithium-ion charger into a reproducible, published review."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(  # type: ignore[no-untyped-call]
    __name__,
    submodules=["charge", "comparison", "drain", "figures", "findings", "logs", "readout", "ui_states"],
    submod_attrs={
        "logs.look": ["look"],
        "commands": [
            *("FilledIn", "Published", "SideBySide", "Verified", "check"),
            *("compare", "filled_in", "form", "run", "start", "verify"),
        ],
        "metrology.measured": ["Measured"],
        "metrology.meter": ["Meter", "meter"],
        "schema.blocks": ["Cell"],
    },
)
