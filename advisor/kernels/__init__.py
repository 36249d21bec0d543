"""Numba loops: arrays in, arrays out; they know no files, units or words."""
