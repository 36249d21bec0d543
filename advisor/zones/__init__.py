"""Facets become zones: slope classes, zone lines, connected areas."""
