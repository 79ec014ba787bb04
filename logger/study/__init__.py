"""Results for people: words, graphs, pages."""
