"""Runs that are killed, at moments chosen by chance, and what is to be found after each."""
