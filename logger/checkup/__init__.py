"""Is the rig fit to run? Part by part, each fault with its cure, while nothing is recorded."""
