"""A file becomes a part: formats, units, damage."""
