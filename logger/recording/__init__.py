"""Nothing recorded is ever lost: the folder on disk, the journal that fills it, recovery after a crash."""
