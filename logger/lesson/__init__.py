"""One lesson: who sails when, what was decided, and what everybody sees."""
