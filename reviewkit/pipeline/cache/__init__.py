"""What was found is kept: a section runs again only where something that it depends on has changed."""

from reviewkit.pipeline.cache.sections import Kept, key

__all__ = ["Kept", "key"]
