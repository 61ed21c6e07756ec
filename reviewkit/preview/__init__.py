"""A review while it is written: on this machine only, made anew as its files are saved, never published."""
