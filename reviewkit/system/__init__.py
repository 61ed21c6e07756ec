"""The machine: temporary folders, folders exchanged, a full disk, signals, locations."""
