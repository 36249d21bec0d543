"""A cutter meets a surface: cusp, stepover and contact diameter."""
