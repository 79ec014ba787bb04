"""The pages, one module each with its `routes`."""
