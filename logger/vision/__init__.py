"""Picture -> position."""
