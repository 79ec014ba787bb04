"""Recording -> numbers: one question per module; `measure` reads as the recipe."""
