"""A plan becomes files: pictures, tables, outlines and meshes."""
