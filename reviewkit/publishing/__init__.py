"""Pages, stills, evidence and editions, put into place whole or not at all."""
