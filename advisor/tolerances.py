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
# Where a file names no unit, inches and metres are read as mm: a part below this is asked about (common practice, no
# source: parts of a few millimetres are rare, parts of a few inches are not).
SMALL_WITHOUT_UNIT_MM = 10.0
LARGE_PART_MM = 5000.0

# -- the smooth surface behind the facets -----------------------------------------------------------------------
# Facets meeting at more than this are an edge of the part, whatever lies around them.
CREASE_DEG = 30.0
# But for like bends, up to this, of strips so narrow that they lie hardly off a round: a small fillet cut in few. Two
# like bends of 45 degrees are a chamfer.
COARSE_ROUND_DEG = 40.0
# A quarter of a turn cut in two strips bends by 45 degrees between them and by half of that at either end, which no
# chamfer does; some more for faces that lean.
COARSE_MIDDLE_DEG = 50.0
COARSE_ROUND_MM = 0.15
COARSE_ROUND_SHARE_OF_SIZE = 0.002
# Facets within this of one plane count as one plane face (rounded files keep plane faces within ~0.1 deg).
COPLANAR_DEG = 0.5
# A bend below this is no bend: it neither makes nor breaks an edge.
SMALLEST_BEND_DEG = 2.0
# Neighbouring bends of one rounded surface are alike within this ratio.
LIKE_BEND_RATIO = 2.5
# A face this many times wider than its neighbour stands for itself at their common edge, as a floor beside the
# first strip of its fillet does: its normal is the true one there.
WIDER_FACE_RATIO = 2.5
# A plane face of this area holds the normals at its edge (or of the share that makes no speck, on small parts).
CERTAIN_PLANE_MM2 = 4.0
# A corner normal further than this from its own facet is no smooth surface's (a cone's tip): use the facet's.
WILD_CORNER_DEG = 25.0
# Facets within this of one plane lie in it exactly, but for rounding: no noise leaves such pairs.
NO_BEND_DEG = 0.05
# Bends above this are edges even in a noisy mesh.
NOISY_BEND_DEG = 60.0
# Vertex noise, as a share of edge length, above which a mesh is noisy whatever it is of; and below which it is clean.
NOISE_SHARE_OF_EDGE = 0.02
SLIGHT_NOISE_SHARE_OF_EDGE = 0.001

# Facets of a plane in a noisy mesh lean apart by so much more a unit of noise, after filtering.
LEAN_PER_NOISE_DEG = 60.0
# Where more of what they lean follows from where they lie, the face is bent.
BENT_BY_CHANCE_SHARE = 0.5
# What noise leaves in filtered normals, degrees a unit of noise (measured on noisy walls: below 2.5 degrees at 0.06).
WALL_SLACK_PER_NOISE_DEG = 40.0
# Edge of an equilateral triangle of unit area.
EDGE_OF_UNIT_FACET = 1.52
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
# An area of which overhangs hide this share is hidden: what is left to see is the rounding of its rim.
HIDDEN_AREA_SHARE = 0.95
# However little it hides, a face that leans over by more than this is no wall.
IDLE_LEAN_DEG = 5.0
# Features smaller in plan than this share of the part's plan diagonal are noted together.
SMALL_FEATURE_SHARE_OF_SIZE = 0.02
# A round hole up to so many balls wide is drilled and bored, not finished with that ball (common practice, no source).
BORED_HOLE_BALLS = 1.25
# So is the chamfer of one that is drilled, if no wider than so many balls.
CHAMFERED_HOLE_BALLS = 1.5
# One or two small features are zones like others; from this many they are noted together.
FEWEST_FEATURES_TO_COLLECT = 3
# A speck on the other side of the undercut line joins only a neighbour this many times larger: of two like
# areas, one of them hidden from the tool, neither is a speck.
SPECK_UNDER_NEIGHBOUR = 100.0
# A mesh in more areas than this has fallen to pieces: those beyond the largest are noted together.
MOST_ZONES = 1000
# Facets joining at less than this across a zone border join tangentially.
TANGENT_JOINT_DEG = 12.0
# A hollow counts as tighter than the ball only beyond this share: a ball of the fillet's own radius fits.
TIGHT_SHARE = 0.08
# The line round such a hollow is drawn where the mean around vertices crosses the share; facets that are off it by more
# than so much (radius of the ball over that of the hollow) pull no more: a plane would draw the line to itself.
TIGHT_LINE_WIDTH = 0.25
# A line that turns by so much an edge more than its course does steps from facet to facet (deg).
STEPPED_LINE_DEG = 12.0
# Facets are not cut nearer to a corner than by this share of an edge: slivers have no normal.
NEAREST_CUT_SHARE = 0.02
# Areas below this share of a speck join a neighbour across a corner of the part too.
CRUMB_SHARE_OF_SPECK = 0.25
# Where facets lie in no exact plane (a scan) an area is a level plane where it leans less than one of these and most of
# it lies within half of that of its mean direction: noise of a tenth of an edge leaves a degree or two in filtered
# normals, and scanned floors are a little crowned and out of level.
LEVEL_ON_THE_WHOLE_DEG = (2.5, 5.0)
LEVEL_HALF_SHARE = 0.6
# Nor does it turn by more than this (rad) over its mean width, by the middle value of its bends.
LEVEL_TURN_RAD = 0.03
# What is narrower than a square of so many facets tells nothing of that: the top strip of a bead is level too.
LEVEL_FEWEST_FACETS = 200
# A flat area of a noisy mesh is a level plane where most of it is.
LEVEL_IN_THE_MAIN_SHARE = 0.5
# Where exact planes are this share of a level area they tell where it ends.
EXACT_SHARE = 0.2
# Regions below this share of the ball's footprint, and of the part's area, are noted together: nobody names them.
MINOR_SHARE_OF_FOOTPRINT = 0.5
MINOR_SHARE_OF_AREA = 0.003
# So are undercuts below this share: nothing is cut there in this set-up.
MINOR_UNDERCUT_SHARE = 0.01
# A level plane is the bottom or top of what surrounds it when this share of its rim is with that.
ENCLOSED_SHARE = 0.75
# Surfaces from this slope on are walls, below it slopes (common practice, no source; a hair below 60 for rounding).
WALL_FROM_DEG = 59.0
# A wall is steep all over, but for its last strips.
WALL_AREA_SHARE = 0.9
# A flat area is a bottom where so much of its rim rises from it, a top where so much falls.
EXTREME_SHARE = 0.8
# Borders with less than this share joined tangentially are corners of the part.
TANGENT_SHARE_OF_BORDER = 0.5

# -- advice -------------------------------------------------------------------------------------------------------
# Share of a zone's area left out of the tightest-spacing search: slivers must not set the spacing of a zone.
TAIL_SHARE_OF_AREA = 1e-3
# The same for parallel lines, whose spacing falls steeply at the rim of a face, where normals are least certain.
TAIL_OF_LINES = 3e-3

# -- repeats ------------------------------------------------------------------------------------------------------
# Copies laid on each other lie this near. Files are often written to a hundredth.
REPEAT_MM = 0.01
# Two triangulations of one surface, each within the chord error of it, lie at most this many chord errors apart.
REPEAT_CHORD_ERRORS = 2.0
# However coarse the facets: two pockets of which one is 0.1 deeper lie 0.05 off at either end when one is laid on
# the other, and are no copies.
REPEAT_MOST_MM = 0.04
# Of two like zones one of which is 1 % larger, the rims lie half a percent of the size apart; half of that is near.
REPEAT_SHARE_OF_ZONE = 0.0025
# Area and spread of a zone are means: what zone lines and facets do by chance cancels in them, so they may differ
# by this share, and by this share of the distance allowed, only. A zone that is 1 % larger differs by 1 %.
REPEAT_MEASURE_SHARE = 0.003
REPEAT_MEASURE_SHARE_OF_DISTANCE = 0.1
# Zones within a group of copies may share out its surface a little differently, for the lines between them hang on
# facets: measures may differ by this share, while the group's whole surface must agree.
REPEAT_LOOSE_SHARE = 0.05
# Facets of copies that are cut up differently lean against each other by half their bends each.
REPEAT_LEAN_DEG = 12.0
# So many points of copies may lean more: needles have no direction of their own.
REPEAT_LEANING_SHARE = 0.02
# A turn below this has no centre worth the name.
REPEAT_LEAST_TURN_DEG = 0.5
# Turns that differ by less are one pitch angle.
REPEAT_PITCH_DEG = 0.05

# -- outlines of zones --------------------------------------------------------------------------------------------
# How far the outline of a zone may leave the border of its facets: as much as files are written to, and a tenth of
# the finest stepover, so no pass is won or lost by it.
OUTLINE_DEVIATION_MM = 0.01
# On a noisy mesh lines over the smooth surface waver from facet to facet: their outlines may leave them by this share
# of the mean edge, and never by more than a blend of zones hides (passes overlap by some tenths).
NOISY_LINE_SHARE_OF_EDGE = 0.5
NOISY_LINE_MM = 0.1
# How the deviation is shared out: spare points go before smoothing, points move, spare points go after it.
OUTLINE_SPARE_BEFORE_SHARE = 0.1
OUTLINE_MOVE_SHARE = 0.6
OUTLINE_SPARE_AFTER_SHARE = 0.3
# Creases and rims are edges of the part: of their points only those go that lie on a straight line, but for this
# share of the deviation.
OUTLINE_STRAIGHT_SHARE = 0.01
# Rounds of smoothing: waves of up to some ten points are flattened, longer ones are shape.
OUTLINE_ROUNDS = 30
# Shares by which a round shrinks and grows: waves longer than some ten points pass (1/shrink + 1/grow = 0.1).
OUTLINE_SHRINK = 0.5
OUTLINE_GROW = -0.5263
# A zone has a view (the tool axis, or its own mean direction) along which its loops enclose an area when its facets
# seen so cover this share of their area. Walls all round a part or a pocket cover nothing.
OUTLINE_VIEW_SHARE = 0.05
# Saw-teeth are what turning is lost when a line is looked at so many times coarser.
SAW_TEETH_COARSER = 4
# Facets over which an outline is pushed out are halved where the distance along an edge leaves the straight line by
# this share of the distance pushed, but not once so many edges fit in that: a corner's circle is then off by 1 %.
PUSH_SAG_SHARE = 0.004
# Facets on which the distance climbs by this share more or less than it must are halved likewise.
PUSH_ODD_CLIMB = 0.05
PUSH_FACETS_IN_DISTANCE = 4
# Edges of thin facets are turned over where the surface moves by no more than this share of the distance.
PUSH_TURN_SHARE = 1e-3
# Rounds of halving for that: facets 4000 times longer than the edges wanted; the next round would only chase slivers.
PUSH_MOST_HALVINGS = 12

# -- curvature ----------------------------------------------------------------------------------------------------
# Neighbours that differ by more than this share of a facet's own bend are of another surface: a wall and its fillet.
LIKE_CURVATURE_SHARE = 0.3
# Principal curvatures closer than this share of the larger have no directions, only rounding.
NO_DIRECTION_SHARE = 0.01

# -- analytic surfaces through patches ----------------------------------------------------------------------------
# The largest residual may be this many tolerances where the rms is within one: the tail of noise.
FIT_MOST_OVER_TOLERANCE = 4.0
# Normals, rms: facets of a coarse arc lean by half a bend, and a narrow strip of a fillet is no plane.
FIT_PLANE_LEANS_DEG = 5.0
FIT_CURVED_LEANS_DEG = 8.0
# A bent surface must hold this many times better than a plane; a patch that hardly turns, far better.
FIT_SHORT_ARC_DEG = 15.0
FIT_GAIN = 3.0
FIT_GAIN_OF_SHORT_ARC = 10.0
# Radii above this many sizes of the patch are planes to any cutter, and no fit knows them.
FIT_LARGEST_RADIUS_OF_SIZE = 200.0
# A cone opening by less is a cylinder, by more a plane.
FIT_LEAST_HALF_APEX_DEG = 0.2
FIT_MOST_HALF_APEX_DEG = 88.0
# Share of a patch whose normals must point to one side of the fit.
FIT_ONE_SIDED_SHARE = 0.95
# A kind that holds within this share of the tolerance is not asked to hold better; otherwise another that holds this
# many times better is what the patch is.
FIT_CLEARLY_OF_TOLERANCE = 0.1
FIT_FAR_BETTER = 2.0

# -- what the plan tells of surfaces and outlines -----------------------------------------------------------------
# Halving for a front ends where fewer of the facets it passes ask for it, none of them longer than the distance: the
# rounds after that only chase slivers.
PUSH_COARSE_SHARE = 2e-3
# How far corners of a zone's facets may lie from the plane, cylinder, sphere, cone or torus told of it, rms: what files
# are written to, or the chord error of the mesh where it is more, for zone lines cut facets; but never by what a finish
# would show.
ZONE_FIT_MM = 0.01
ZONE_FIT_MOST_MM = 0.05

# -- reach --------------------------------------------------------------------------------------------------------
# A tool that gets to all but this share of what any tool gets to counts as getting there.
REACH_SLACK_SHARE = 0.005
# A zone of which less is reached is not cut with the tool.
LEAST_REACHED_SHARE = 0.05
# What is missing of a zone by less than this is facets and rounding, no corner left over.
MISSED_SHARE = 0.002
# A ball in a fillet of its own radius cuts its facets by two chord errors at most: theirs on one side and the other.
REACH_CHORD_ERRORS = 2.0

# -- set-ups ------------------------------------------------------------------------------------------------------
# Tool axes nearer than this are one: neither faces of draft nor the fit of an axis deserve a set-up of their own.
LIKE_AXES_DEG = 2.0
# Share of the part's area for which nobody clamps it once more, and below which no direction is a face's.
NEGLIGIBLE_SETUP_SHARE = 1e-3
# A face of which a set-up reaches all but this share stays whole on it: what is missing is the edge of a sharp corner,
# or rounding.
WHOLE_FACE_MISSING_SHARE = 0.01
# Pieces of a face below this share of the part's area join the set-up of the piece beside them.
SETUP_CRUMB_SHARE = 5e-4
# A rotary table turns a tool axis to the spindle that is out of square with its own axis by no more than this: what
# faces at the limit would be off by is within what finishing leaves, 0.1 mm over 100 mm.
ROTARY_AXIS_DEG = 0.05
# Places left over below this share of the finishing ball's footprint are rounding and rims.
LEFTOVER_SHARE_OF_FOOTPRINT = 0.05
# Another set-up is not worth it for less than this share of the surface (common practice, no source).
SETUP_SPARE_SHARE = 0.01
# Tilts that keep the tip out of as much of a zone, but for this share, are alike: the smallest of them is taken, and
# samples of a zone hardly tell more.
TILT_SLACK_SHARE = 0.05
# A tilt that gets to less than so much of a zone is no answer to what the upright tool does not reach there.
TILT_REACH_SHARE = 0.5
# Nobody tilts a tool, or turns it to one orientation more, for less than this share of a zone (common practice, no
# source).
TILT_WORTH_SHARE = 0.1
# Of a face it may also miss less than such a crumb, if that is below this share of the face: of a small face a few
# samples by chance.
WHOLE_FACE_CRUMBS_SHARE = 0.1
# The border between set-ups is drawn within this share of the finishing ball (passes blend over two stepovers, as
# much or more), or of the part's size where that is more.
SETUP_BORDER_SHARE_OF_BALL = 0.125
SETUP_BORDER_SHARE_OF_SIZE = 0.002
# Facets that passes are laid on turn by no more than this along an edge, and halved points lie on the smooth surface.
PASS_FACET_TURN_DEG = 4.5

# -- the order of passes and links between them -------------------------------------------------------------------
# Passes within so many steps of each other lie side by side: families are laid so that neighbours are one step apart,
# and a line that ends leaves two to its next one.
BESIDE_STEPS = 3.0
# From the end of a pass to the next the tool stays down for so many steps, or the radius of the ball, within which it
# still covers the place it comes from (common practice, no source).
LINK_STEPS = 3.0
# Middle of the arc of a ball that is in the cut, from the contact towards what is still uncut, seen from its centre:
# half of acos(1 - depth / R) for an allowance of 4 % of the radius.
ENGAGED_LEAN_DEG = 8.0
# Loops that follow one another change from one sense to the other only where that brings more than this share of their
# path under the wanted sense: a change leaves a mark (common practice, no source).
SENSE_CHANGE_SHARE = 0.1
# A family falls, or rises, from level to level where mean heights do by this share of a step a level.
FALLS_SHARE = 0.02
# A raised link longer than so many of the longest straight one is a lift: up and over a rib at feed takes longer.
RAISED_LINK_SHARE = 2.0
# Loops are wound into a spiral where matched points of neighbours on its ramps are no further apart than so many steps:
# offsets of a square corner are by 1.41.
SPIRAL_STEPS = 1.5
# Ramps of a spiral begin no shorter than this, in gaps between loops, and are nowhere steeper than one of a few gaps: a
# turn by 11 degrees into a ramp instead of 90 degrees into the way to the next loop (common practice, no source).
SPIRAL_RAMP_GAPS = 5.0
SPIRAL_STEEPEST_GAPS = 2.0
# Nor does the smooth surface stand off the edges of facets that passes are laid on by more than this, mm: passes are
# chords over them, and this is a quarter of a fine path tolerance (common practice, no source).
PASS_FACET_SAG_MM = 0.0025
# The way of a cutter turns a corner, which no thinning may cut, where it turns by more.
PATH_CORNER_DEG = 25.0
# For the step across passes a hollow is no tighter than this share of the cutter: with curvatures good to a hundredth
# of the cutter's, a step three times that on a flat still holds its cusp to a tenth.
OFFSET_TIGHTEST_SHARE = 0.9
# Longest edge of facets that offsets are laid on, in steps: a front is straight along an edge, and a ridge where two
# meet is found to a fraction of one.
OFFSET_FACET_STEPS = 2.0
# Facets made finer for offsets, at most: beyond, they grow coarser with the zone.
OFFSET_MOST_FACETS = 3_000_000
# Steps grow by no more than this a mm along the surface. The gap under a ball is bent like where it touches until the
# surface bends otherwise, and goes on with the slope it has there: two passes beside the edge of a fillet that the ball
# nearly fills would leave up to 1.7 times the cusp. At this rate they leave no more than asked for.
OFFSET_STEP_GROWTH = 2.0
# Offsets have so many points that the surface stands no further off their chords: a twentieth of a fine cusp.
OFFSET_LINE_SAG_MM = 0.0005
# Half a step is what passes leave their cusp at. Where two fronts meet and the nearest pass is further off than this,
# the cusp is a tenth higher than asked for.
OFFSET_CLOSED_STEPS = 0.524
# A pass closes such a gap where it is a step long, or where the nearest pass is this far off: a spot of 1.7 times the
# cusp, as sharp corners of passes leave it. A square one leaves 1.37 times the cusp and needs none.
OFFSET_CLOSE_FROM_STEPS = 0.65
# It runs on while the nearest pass is so far off, so that a ridge that wavers about half a step is closed in one piece.
OFFSET_RUN_ON_STEPS = 0.45
# Passes of a zone and stage are laid up to this length, a kilometre: a minute of work and a gigabyte for each family.
# What is longer keeps its length as area over spacing.
PASSES_MOST_MM = 1.0e6
# Zones that are advised on at once: of so many, that of an assembly of hundreds of bodies, each takes its fifth of a
# second, and nobody programs them one by one.
MOST_ZONES = 2000
# Where the job states no tolerance passes go no deeper than this into the facets of a file, however far these stand off
# the surface: a usual tolerance of finished forms (our own choice, no source).
PASS_DEEPEST_MM = 0.03
# A lift goes so far over the top of the part (common practice, no source).
LIFT_CLEARANCE_MM = 2.0

# -- what-if ------------------------------------------------------------------------------------------------------
# A row is within the target where its cusp is no more than this share above it: what a virtual cut at some thousands of
# points, and lines that hold but for a tail of the area, leave open.
WHAT_IF_CUSP_SHARE = 0.05
# Rows that finish as much area as any, but for this share, are compared with one another; one that leaves a zone out is
# no quicker way to the same end.
WHAT_IF_AREA_SHARE = 0.01

# Facets cut from exact surfaces follow the cusp asked for (``part.coarseness``) within these bounds: below half a
# micrometre facets grow many and nothing is gained, above five a fillet's facets begin to show in its radius (our own
# choice, no source).
STEP_LEAST_CHORD_MM = 0.0005
STEP_MOST_CHORD_MM = 0.005
# Where no cusp is known: that of the default finish, a cusp of 5 um.
STEP_CHORD_MM = 0.001

# Edges in which a zone turns inward count as a corner from this share of the part's size: shorter ones are crumbs.
CORNER_SHARE_OF_SIZE = 0.005
