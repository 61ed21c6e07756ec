"""A section notebook as a thing: found, inspected, outlined, its bench sheet."""
