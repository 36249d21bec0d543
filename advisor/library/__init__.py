"""Many parts: a folder of models becomes plan folders, an index page and a table."""
