"""People look: the zoned part in a window, and the words of its zone cards."""
