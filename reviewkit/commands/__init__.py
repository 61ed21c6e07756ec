"""What the kit does for its user, as functions: the command line and the notebooks call these."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(  # type: ignore[no-untyped-call]
    __name__,
    submod_attrs={
        "by_hand": ["FilledIn", "filled_in"],
        "review_form": ["form"],
        "folders": ["check", "json_schema", "keys", "keys_page", "looked_over", "remarks", "start"],
        "first_logs": ["look_at"],
        "placeholders": ["findings"],
        "own_instruments": ["instruments_of"],
        "pairs": ["SideBySide", "compare"],
        "reviews": ["Published", "run"],
        "verification": ["Verified", "verify"],
    },
)
