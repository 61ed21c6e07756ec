"""One notebook run: its task, its kernel or forked child, a cluster."""
