"""What a class needs on paper, one module for each sheet; `every` knows them all."""
