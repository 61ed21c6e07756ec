"""The blocks of a review file as models, and quantities written with their unit."""
