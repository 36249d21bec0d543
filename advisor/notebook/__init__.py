"""Plans for Python and notebooks: tables as data frames, a part to turn, and a page in a cell."""
