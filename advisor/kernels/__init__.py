"""Numba loops: arrays in, arrays out; they know no files, units or words."""

from advisor.kernels.room import find_room

find_room()
