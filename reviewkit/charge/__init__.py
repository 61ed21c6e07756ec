"""The charge curve."""
