"""What balls swept along lines leave of a surface: where a line along the normal first enters one of the capsules.

A capsule is all within the ball's radius R of a segment of centres. Along the line ``p + t n`` (p on the surface, n
its unit normal) each capsule covers an interval of t. Over an uncut p the least of their beginnings is the height of
what is left; where some cover p, the cut goes down to where the intervals that hang together with those begin. So
nothing depends on how a line is divided into segments.

One question prunes: with the best height h so far, can any segment in a box begin earlier? The distance of ``p + t n``
from a convex set is convex in t. So where the set is further than R from ``x = p + h n`` and lies ahead of x, no
segment in it comes within R before h. On a smooth surface only the segments in a small disc remain.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.plan_tree import node_range
from advisor.kernels.read_only import reads
from advisor.kernels.swept import entry, to_swept

# A node's children are 2 n + 1 and 2 n + 2, and each halves its range of groups, as in ``kernels.plan_tree``.
_STACK = 128
# Squared distances within this share of R^2 of R^2 are not told apart: nothing is passed over for its rounding.
_SLACK = 1e-11
# So many levels of the tree have slabs, leaves included: what is larger is not flat.
_SLAB_LEVELS = 8


@njit(nogil=True, inline="always")
def _apart2(points, i, j):
    x, y, z = points[i, 0] - points[j, 0], points[i, 1] - points[j, 1], points[i, 2] - points[j, 2]
    return x * x + y * y + z * z


@reads(1)
@njit(cache=True, nogil=True)
def pieces(points, starts, longest):
    """Segments of chains cut into pieces that are no longer than `longest`; a chain of one point is a piece of none.

    Parameters
    ----------
    points : (k, 3) float64 array
    starts : (p + 1,) int64 array
    longest : float

    Returns
    -------
    piece : (s, 6) float64 array
        Beginning and end.
    owner : (s,) int32 array
        The point at which the segment of each begins.
    is_first : (s,) bool array
        Pieces at which a chain begins.
    """
    total = 0
    for c in range(starts.shape[0] - 1):
        total += starts[c + 1] - starts[c] == 1
        for i in range(starts[c], starts[c + 1] - 1):
            total += max(1, int(np.ceil(np.sqrt(_apart2(points, i, i + 1)) / longest)))
    piece, owner, is_first = np.empty((total, 6)), np.empty(total, np.int32), np.zeros(total, np.bool_)
    filled = 0
    for c in range(starts.shape[0] - 1):
        if starts[c + 1] > starts[c]:
            is_first[filled] = True
        for i in range(starts[c], max(starts[c + 1] - 1, min(starts[c] + 1, starts[c + 1]))):
            end = min(i + 1, starts[c + 1] - 1)
            parts = max(1, int(np.ceil(np.sqrt(_apart2(points, i, end)) / longest)))
            for j in range(parts):
                for k in range(3):
                    a, b = points[i, k], points[end, k]
                    piece[filled, k] = a + (b - a) * (j / parts) if j > 0 else a
                    piece[filled, 3 + k] = a + (b - a) * ((j + 1) / parts) if j + 1 < parts else b
                owner[filled] = i
                filled += 1
    return piece, owner, is_first


@njit(cache=True, nogil=True)
def group_starts(piece, is_first, most, longest):
    """(g + 1,) first piece of every group: `most` neighbours of a chain at most, and no further than `longest` across.

    Parameters
    ----------
    piece, is_first : of ``pieces``
    most : int
    longest : float
    """
    out = np.empty(piece.shape[0] + 1, np.int64)
    groups, first = 0, 0
    for s in range(piece.shape[0]):
        x, y, z = piece[s, 3] - piece[first, 0], piece[s, 4] - piece[first, 1], piece[s, 5] - piece[first, 2]
        if is_first[s] or s - first == most or x * x + y * y + z * z > longest * longest:
            first = s
            out[groups] = s
            groups += 1
    out[groups] = piece.shape[0]
    return out[: groups + 1].copy()


@njit(cache=True, nogil=True)
def in_order(piece, owner, group, order):
    """Pieces group by group in the order of the tree, the owner of each, and the first piece of every group."""
    out, of, starts = np.empty_like(piece), np.empty_like(owner), np.empty_like(group)
    filled = 0
    for g in range(order.shape[0]):
        starts[g] = filled
        for s in range(group[order[g]], group[order[g] + 1]):
            for k in range(6):
                out[filled, k] = piece[s, k]
            of[filled] = owner[s]
            filled += 1
    starts[order.shape[0]] = filled
    return out, of, starts


@njit(cache=True, nogil=True)
def boxes(piece, starts, levels, ring):
    """(2^(levels + 1) - 1, 12) box and slab of the centres in every node.

    Least and greatest coordinates, the box's diagonal, a unit vector square to the plane that lies nearest to the
    centres, and their least and greatest coordinate along it; infinite ones on nodes too large for a plane to be near.
    All of them hold the discs of a bull-nose about its centres, square to z.
    """
    groups, leaves = starts.shape[0] - 1, 1 << levels
    box = np.zeros((2 * leaves - 1, 12))
    box[:, :3], box[:, 3:6], box[:, 10], box[:, 11] = np.inf, -np.inf, -np.inf, np.inf
    for node in range(leaves - 1, 2 * leaves - 1):
        low, high = node_range(node, levels, groups)
        for s in range(starts[low], starts[high]):
            for k in range(3):
                box[node, k] = min(box[node, k], piece[s, k], piece[s, 3 + k])
                box[node, 3 + k] = max(box[node, 3 + k], piece[s, k], piece[s, 3 + k])
        for k in range(2):
            box[node, k] -= ring
            box[node, 3 + k] += ring
    for node in range(leaves - 2, -1, -1):
        for k in range(3):
            box[node, k] = min(box[2 * node + 1, k], box[2 * node + 2, k])
            box[node, 3 + k] = max(box[2 * node + 1, 3 + k], box[2 * node + 2, 3 + k])
    for node in range((1 << max(levels - _SLAB_LEVELS, 0)) - 1, 2 * leaves - 1):
        low, high = node_range(node, levels, groups)
        if low < high:
            _add_slab(piece, starts[low], starts[high], box[node], ring)
    return box


@njit(nogil=True)
def _add_slab(piece, low, high, b, ring):
    """Write the diagonal and the slab about pieces `low` to `high` into a row of ``boxes``."""
    mx, my, mz = 0.5 * (b[0] + b[3]), 0.5 * (b[1] + b[4]), 0.5 * (b[2] + b[5])
    b[6] = np.sqrt((b[3] - b[0]) ** 2 + (b[4] - b[1]) ** 2 + (b[5] - b[2]) ** 2)
    n, sx, sy, sz, xx, yy, zz, xy, xz, yz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for s in range(low, high):
        for k in range(0, 6, 3):
            x, y, z = piece[s, k] - mx, piece[s, k + 1] - my, piece[s, k + 2] - mz
            n += 1.0
            sx, sy, sz = sx + x, sy + y, sz + z
            xx, yy, zz, xy, xz, yz = xx + x * x, yy + y * y, zz + z * z, xy + x * y, xz + x * z, yz + y * z
    xx, yy, zz = xx - sx * sx / n, yy - sy * sy / n, zz - sz * sz / n
    xy, xz, yz = xy - sx * sy / n, xz - sx * sz / n, yz - sy * sz / n
    # the adjugate stretches most along the direction in which the centres spread least; squaring makes it plainer
    a, d, f = yy * zz - yz * yz, xx * zz - xz * xz, xx * yy - xy * xy
    size = a + d + f
    if not size > 0.0:
        return
    a, d, f = a / size, d / size, f / size
    bb, c, e = (xz * yz - xy * zz) / size, (xy * yz - xz * yy) / size, (xy * xz - xx * yz) / size
    for _ in range(2):
        a, d, f, bb, c, e = (
            a * a + bb * bb + c * c, bb * bb + d * d + e * e, c * c + e * e + f * f,
            a * bb + bb * d + c * e, a * c + bb * e + c * f, bb * c + d * e + e * f,
        )  # fmt: skip
    if a >= d and a >= f:
        x, y, z = a, bb, c
    elif d >= f:
        x, y, z = bb, d, e
    else:
        x, y, z = c, e, f
    length = np.sqrt(x * x + y * y + z * z)
    if not length > 0.0:
        return
    b[7], b[8], b[9] = x / length, y / length, z / length
    least, most = np.inf, -np.inf
    for s in range(low, high):
        for k in range(0, 6, 3):
            at = piece[s, k] * b[7] + piece[s, k + 1] * b[8] + piece[s, k + 2] * b[9]
            least, most = min(least, at), max(most, at)
    across = ring * np.sqrt(b[7] * b[7] + b[8] * b[8])
    b[10], b[11] = least - across, most + across


@njit(nogil=True, inline="always")
def _to_box(box, i, x, y, z):
    """Way from a place to the nearest point of a box."""
    return (
        max(box[i, 0] - x, 0.0) - max(x - box[i, 3], 0.0),
        max(box[i, 1] - y, 0.0) - max(y - box[i, 4], 0.0),
        max(box[i, 2] - z, 0.0) - max(z - box[i, 5], 0.0),
    )


@njit(nogil=True, inline="always")
def _slab_is_out(box, i, x, y, z, nx, ny, nz, radius, r2):
    """Whether the slab shows that a node whose box is in reach of (x, y, z) is not, and lies ahead.

    From a place at a distance d of the slab, what a ball reaches in it lies within ``sqrt(R^2 - d^2)`` of the foot of
    the perpendicular. The nearest centre is no further than the ball's radius and the box's diagonal, so it is ahead
    whenever the perpendicular points ahead by more than that way may lead back.
    """
    along = x * box[i, 7] + y * box[i, 8] + z * box[i, 9]
    way = max(box[i, 10] - along, 0.0) - max(along - box[i, 11], 0.0)
    cosine = nx * box[i, 7] + ny * box[i, 8] + nz * box[i, 9]
    ahead = cosine * way
    if ahead <= 0.0 or ahead * ahead <= (1.0 - cosine * cosine) * (radius + box[i, 6]) ** 2:
        return False
    x, y, z = _to_box(box, i, x + way * box[i, 7], y + way * box[i, 8], z + way * box[i, 9])
    return x * x + y * y + z * z > r2 - way * way


@njit(nogil=True, inline="always")
def _box_distance2(box, i, px, py, pz, nx, ny, nz, deep, best, radius, r2):
    """Squared distance of a box from the point at the best height; infinite if no segment in it begins earlier."""
    x, y, z = _to_box(box, i, px + best * nx, py + best * ny, pz + best * nz)
    d2 = x * x + y * y + z * z
    if d2 <= r2:
        if _slab_is_out(box, i, px + best * nx, py + best * ny, pz + best * nz, nx, ny, nz, radius, r2):
            return np.inf
        return d2
    if x * nx + y * ny + z * nz > 0.0:
        return np.inf
    # behind the best height: if it is behind the cut as well, it is on the far side of a thin wall
    x, y, z = _to_box(box, i, px + deep * nx, py + deep * ny, pz + deep * nz)
    if x * x + y * y + z * z > r2 and x * nx + y * ny + z * nz <= 0.0:
        return np.inf
    return d2


@njit(nogil=True, inline="always")
def _segment_is_out(a, i, px, py, pz, nx, ny, nz, deep, best, r2, ring):
    """Whether nothing on a segment begins before the best height and reaches the cut."""
    x, y, z = to_swept(a, i, px + best * nx, py + best * ny, pz + best * nz, ring)
    if x * x + y * y + z * z <= r2:
        return False
    if x * nx + y * ny + z * nz > 0.0:
        return True
    x, y, z = to_swept(a, i, px + deep * nx, py + deep * ny, pz + deep * nz, ring)
    return x * x + y * y + z * z > r2 and x * nx + y * ny + z * nz <= 0.0


@njit(nogil=True)
def _on_pieces(px, py, pz, nx, ny, nz, radius, ring, deep, best, decides, low, high, piece, owner):
    """Best height, and the piece that decides it, after those from `low` to before `high`."""
    r2 = radius * radius * (1.0 + _SLACK)
    for s in range(low, high):
        if _segment_is_out(piece, s, px, py, pz, nx, ny, nz, deep, best, r2, ring):
            continue
        t = entry(px, py, pz, nx, ny, nz, piece, s, radius, ring)
        if t > best or (t == best and decides >= 0 and owner[decides] <= owner[s]):
            continue
        if t <= deep:
            x, y, z = to_swept(piece, s, px + deep * nx, py + deep * ny, pz + deep * nz, ring)
            if x * x + y * y + z * z > r2:
                continue  # it ends before the cut begins
        best, decides = t, s
    return best, decides


@njit(nogil=True)
def _through_tree(
    px, py, pz, nx, ny, nz, radius, ring, deep, best, found, near_low, near_high, piece, owner, starts, box, levels,
    node_of
):  # fmt: skip
    """Best height, the piece that decides it, and the leaf's pieces it is one of; `node_of` is room to work in.

    `deep` is the bottom of the cut as far as it is known, 0 at first: what lies behind it and does not reach it does
    not count.
    """
    first_leaf, r2 = (1 << levels) - 1, radius * radius * (1.0 + _SLACK)
    node_of[0, 0], node_of[0, 1], node_of[0, 2] = 0, 0, starts.shape[0] - 1
    top = 1
    while top > 0:
        top -= 1
        node, low, high = node_of[top, 0], node_of[top, 1], node_of[top, 2]
        if node >= first_leaf:
            before, low, high = found, starts[low], starts[high]
            best, found = _on_pieces(px, py, pz, nx, ny, nz, radius, ring, deep, best, found, low, high, piece, owner)
            if found != before:
                near_low, near_high = low, high
            continue
        middle, one, least = (low + high) // 2, 2 * node + 1, np.inf
        for child in range(one, one + 2):
            bound = _box_distance2(box, child, px, py, pz, nx, ny, nz, deep, best, radius, r2)
            if bound == np.inf:
                continue
            begin, end = (low, middle) if child == one else (middle, high)
            at = top
            if bound > least:  # the nearer child stays on top of the stack
                at -= 1
                node_of[top, 0], node_of[top, 1], node_of[top, 2] = node_of[at, 0], node_of[at, 1], node_of[at, 2]
            node_of[at, 0], node_of[at, 1], node_of[at, 2] = child, begin, end
            least = min(least, bound)
            top += 1
    return best, found, near_low, near_high


@reads(0, 1)
@njit(cache=True, nogil=True)
def cut(point, normal, query, radius, ring, limit, piece, owner, starts, box, levels, height, decides):
    """Heights that swept balls leave over points of a surface, along its normals.

    Parameters
    ----------
    point, normal : (q, 3) float64 arrays
        Unit normals.
    query : (c,) int array
        Which points are asked, neighbours one after another: each begins where the last one ended.
    radius, ring, limit : float
        Of the corner; of the ring that it runs on, square to z, 0 for a ball; height above which nothing is looked for.
    piece, owner, starts : of ``in_order``
    box, levels : the tree, of ``boxes``
    height : (q,) float64 array, written
        Infinite where no ball passes below the limit; negative where one passes below the surface.
    decides : (q,) int array, written
        Owner of the segment; the first of those that are equal, -1 for none.
    """
    node_of = np.empty((_STACK, 3), np.int64)
    low, high = np.int64(0), starts[min(1, starts.shape[0] - 1)]
    for q in query:
        px, py, pz = point[q, 0], point[q, 1], point[q, 2]
        nx, ny, nz = normal[q, 0], normal[q, 1], normal[q, 2]
        deep = 0.0
        best, found = _on_pieces(
            px, py, pz, nx, ny, nz, radius, ring, deep, limit, np.int64(-1), low, high, piece, owner
        )
        while True:
            best, found, low, high = _through_tree(
                px, py, pz, nx, ny, nz, radius, ring, deep, best, found, low, high, piece, owner, starts, box, levels,
                node_of
            )  # fmt: skip
            if best >= deep:
                break
            deep = best  # what covers the bottom of the cut makes it deeper
        height[q] = best if found >= 0 else np.inf
        decides[q] = owner[found] if found >= 0 else -1
