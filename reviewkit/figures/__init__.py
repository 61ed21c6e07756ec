"""Figures: one function per result; they compute nothing."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(  # type: ignore[no-untyped-call]
    __name__,
    submod_attrs={
        "charge": ["charge_curve", "charge_delivered", "charge_end", "charge_knee"],
    },
)
