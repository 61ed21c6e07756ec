"""Figures: one function per result; they compute nothing."""
