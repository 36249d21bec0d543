"""Every tolerance of the package, named, with its reason. Lengths mm, angles deg unless the name says a share."""

from __future__ import annotations

# -- reading and mending a mesh ---------------------------------------------------------------------------------
# Binary STL stores float32: 6e-8 of the coordinate is its rounding. Corners of one point that were rounded by
# different routes lie a few such steps apart; twenty steps leave room and stay far below any real feature.
JOIN_GAP_SHARE_OF_SIZE = 1.2e-6
# A facet whose height is below this share of the part's size has no direction of its own, only rounding.
NEEDLE_HEIGHT_SHARE_OF_SIZE = 1e-7
# Below this share of the size not even double precision gives a facet a normal: it is dropped.
NO_HEIGHT_SHARE_OF_SIZE = 1e-13
# An open body is taken for a solid with holes (so that "inside out" has a meaning) while its rim is short
# against its area: a sphere may lose a cap of 40 % of its radius. A lone sheet has rim^2 / area near 16.
RIM_SQUARED_OVER_AREA_OF_SOLID = 0.5
# Largest size that can be a part on a milling machine; above it coordinates are damage, not geometry.
LARGEST_COORDINATE_MM = 1e7
# Sizes outside these are almost always a wrong unit. (common practice, no source)
SMALL_PART_MM = 1.0
LARGE_PART_MM = 5000.0

# -- the smooth surface behind the facets -----------------------------------------------------------------------
# Facets meeting at more than this are an edge of the part, whatever lies around them.
CREASE_DEG = 30.0
# Facets within this of one plane count as one plane face (rounded files keep plane faces within ~0.1 deg).
COPLANAR_DEG = 0.5
# A bend below this is no bend: it neither makes nor breaks an edge.
SMALLEST_BEND_DEG = 2.0
# Neighbouring bends of one rounded surface are alike within this ratio.
LIKE_BEND_RATIO = 2.5
# A face this many times wider than its neighbour stands for itself at their common edge, as a floor beside the
# first strip of its fillet does: its normal is the true one there.
WIDER_FACE_RATIO = 2.5
# A corner normal further than this from its own facet is no smooth surface's (a cone's tip): use the facet's.
WILD_CORNER_DEG = 25.0
# Facets within this of one plane lie in it exactly, but for rounding: no noise leaves such pairs.
NO_BEND_DEG = 0.05
# Bends above this are edges even in a noisy mesh.
NOISY_BEND_DEG = 60.0
# Vertex noise, as a share of edge length, below which the mesh is taken as clean.
NOISE_SHARE_OF_EDGE = 0.02

# What noise leaves in filtered normals, degrees a unit of noise (measured on noisy walls: below 2.5 degrees at 0.06).
WALL_SLACK_PER_NOISE_DEG = 40.0
# Blobs of so many facets of a noisy mesh may lean together by chance.
NOISE_BLOB_FACETS = 80

# -- zone lines ---------------------------------------------------------------------------------------------------
# Slopes this near a threshold lie on it: float32 rounding must not decide between two classes.
ON_THRESHOLD_DEG = 0.02
# A zone line may leave the curve it follows by this share of its own segment's length.
LINE_SAG_SHARE = 0.008
# Rounds of halving facets to follow a curved line (each halves the segment).
LINE_REFINEMENTS = 4
# Segments below this share of the part's size are fine enough for any cutter.
SHORTEST_LINE_SHARE_OF_SIZE = 1e-4

# Nor do segments shorter than this share of the side of the smallest area that counts change any area.
SHORTEST_LINE_SHARE_OF_SPECK = 0.05

# -- zones --------------------------------------------------------------------------------------------------------
# Zones below this share of the part's area are specks even where `smallest` is larger than the part deserves.
SPECK_SHARE_OF_AREA = 5e-4
# A zone narrower than this (twice area over perimeter) is a sliver along another zone's line.
SLIVER_WIDTH_MM = 0.02
# The same for parts so small that this share of their size is less.
SLIVER_WIDTH_SHARE_OF_SIZE = 2e-4
# An overhang that hides less than this from the tool is a wall: a finish stage leaves as much. The share stands
# for the chord error of large coarse models.
HIDDEN_MM = 0.1
HIDDEN_SHARE_OF_SIZE = 5e-4
# However little it hides, a face that leans over by more than this is no wall.
IDLE_LEAN_DEG = 5.0
# Features smaller in plan than this share of the part's plan diagonal are noted together.
SMALL_FEATURE_SHARE_OF_SIZE = 0.02
# One or two small features are zones like others; from this many they are noted together.
FEWEST_FEATURES_TO_COLLECT = 3
# A speck on the other side of the undercut line joins only a neighbour this many times larger: of two like
# areas, one of them hidden from the tool, neither is a speck.
SPECK_UNDER_NEIGHBOUR = 100.0
# A mesh in more areas than this has fallen to pieces: those beyond the largest are noted together.
MOST_ZONES = 1000
# Facets joining at less than this across a zone border join tangentially.
TANGENT_JOINT_DEG = 12.0

# -- advice -------------------------------------------------------------------------------------------------------
# Share of a zone's area left out of the tightest-spacing search: slivers must not set the spacing of a zone.
TAIL_SHARE_OF_AREA = 1e-3
# The same for parallel lines, whose spacing falls steeply at the rim of a face, where normals are least certain.
TAIL_OF_LINES = 3e-3
