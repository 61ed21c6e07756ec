"""The bench day: what is entered while the device lies on the bench, and what that tells at once."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(  # type: ignore[no-untyped-call]
    __name__,
    submod_attrs={
        "entering": ["Noted", "cable", "clap", "drain", "reading", "trial", "undo"],
        "follow": ["live"],
        "forms": ["forms"],
        "journal": ["entries"],
        "sheet": ["sheet"],
        "tonight": ["session", "tonight"],
    },
)
