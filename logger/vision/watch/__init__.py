"""Did the camera move during the run? Windows about the water tell, picture by picture."""
