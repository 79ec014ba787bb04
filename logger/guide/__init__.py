"""One step of calibration at a time: gather, work out, tell, keep, enter. The commands and the pages both come here."""
