"""Turns bench measurements of a built-in lithium-ion charger into a reproducible, published review."""
