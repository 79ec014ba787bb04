"""The live session: the one loop, the referee, the board."""
