"""Where the boat is now, cheaply, for the screen and the referee; what counts is measured afterwards."""
