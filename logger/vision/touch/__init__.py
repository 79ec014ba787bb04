"""Did something touch the boat? A change of speed that nothing explains, and a thing that reached its hull."""
