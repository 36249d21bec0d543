"""Arrays become a clean part: mended, with slope, neighbours and the smooth surface behind the facets."""
