"""How facets hang together: half-edges and their twins, winding, connected groups.

Half-edge ``h = 3 f + k`` runs from corner ``k`` of facet ``f`` to its next corner.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from advisor.kernels.read_only import reads

OPEN_EDGE = -1  # twin of a half-edge on a rim
CROWDED_EDGE = -2  # twin of a half-edge on an edge that more than two facets share


@njit(nogil=True)
def _stable_order(order, keys, key_count):
    # one pass of a counting sort: linear whatever the mesh, so no fan of facets can slow it
    start = np.zeros(key_count + 1, np.int64)
    for h in order:
        start[keys[h] + 1] += 1
    for k in range(key_count):
        start[k + 1] += start[k]
    out = np.empty_like(order)
    for h in order:
        key = keys[h]
        out[start[key]] = h
        start[key] += 1
    return out


@reads(0)
@njit(cache=True, nogil=True)
def match_half_edges(faces, vertex_count):
    """Twin of every half-edge, whichever way the two run.

    Parameters
    ----------
    faces : (m, 3) int32 array
    vertex_count : int

    Returns
    -------
    twins : (3 m,) int32 array
        The half-edge of the other facet on the same edge, ``OPEN_EDGE`` or ``CROWDED_EDGE``.
    """
    count = 3 * faces.shape[0]
    low = np.empty(count, np.int32)
    high = np.empty(count, np.int32)
    for f in range(faces.shape[0]):
        for k in range(3):
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            low[3 * f + k] = min(a, b)
            high[3 * f + k] = max(a, b)
    order = _stable_order(np.arange(count).astype(np.int32), high, vertex_count)
    order = _stable_order(order, low, vertex_count)
    twins = np.full(count, OPEN_EDGE, np.int32)
    i = 0
    while i < count:
        j = i + 1
        while j < count and low[order[j]] == low[order[i]] and high[order[j]] == high[order[i]]:
            j += 1
        if j - i == 2:
            twins[order[i]] = order[i + 1]
            twins[order[i + 1]] = order[i]
        elif j - i > 2:
            for k in range(i, j):
                twins[order[k]] = CROWDED_EDGE
        i = j
    return twins


@njit(cache=True, nogil=True)
def wind_alike(faces, twins):
    """Bodies, and which facets must be turned over so that neighbours agree.

    Returns
    -------
    body : (m,) int32 array
        Number of the connected body, counted from 0 in order of its first facet.
    turned : (m,) bool array
        Facets wound against their body. The smaller share of each body is called turned.
    twisted : int
        Edges whose two facets agree neither way (a one-sided surface).
    """
    m = faces.shape[0]
    body = np.full(m, -1, np.int32)
    turned = np.zeros(m, np.bool_)
    queue = np.empty(m, np.int32)
    bodies = 0
    twisted = 0
    for seed in range(m):
        if body[seed] >= 0:
            continue
        body[seed] = bodies
        queue[0] = seed
        head, tail, turns = 0, 1, 0
        while head < tail:
            f = queue[head]
            head += 1
            for k in range(3):
                h = 3 * f + k
                twin = twins[h]
                if twin < 0:
                    continue
                g = twin // 3
                against = faces[f, k] == faces[g, twin % 3]  # both run the same way: one is wound wrongly
                wanted = turned[f] ^ against
                if body[g] < 0:
                    body[g] = bodies
                    turned[g] = wanted
                    turns += wanted
                    queue[tail] = g
                    tail += 1
                elif turned[g] != wanted:
                    twisted += 1
        if 2 * turns > tail:
            for i in range(tail):
                turned[queue[i]] = not turned[queue[i]]
        bodies += 1
    return body, turned, twisted // 2


@njit(nogil=True)
def find_root(parent, i):
    """Root of `i` in a union-find forest; paths are halved on the way."""
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(nogil=True)
def join(parent, i, j):
    """Join two trees of a union-find forest under the smaller root, so that labels do not depend on order."""
    i = find_root(parent, i)
    j = find_root(parent, j)
    if i < j:
        parent[j] = i
    elif j < i:
        parent[i] = j


@njit(nogil=True)
def number_roots(parent):
    """Labels 0..k-1 of a union-find forest, in order of the smallest member."""
    n = parent.shape[0]
    label = np.empty(n, np.int32)
    count = 0
    for i in range(n):
        root = find_root(parent, i)
        if root == i:
            label[i] = count
            count += 1
        else:
            label[i] = label[root]  # roots are the smallest members, so theirs is already known
    return label, count


@reads(0)
@njit(cache=True, nogil=True)
def connected_facets(twins, linked):
    """Connected groups of facets over the half-edges that are `linked`.

    Parameters
    ----------
    twins : (3 m,) int32 array
    linked : (3 m,) bool array
        Whether the group goes on across the half-edge (either side suffices).

    Returns
    -------
    label : (m,) int32 array
    count : int
    """
    m = twins.shape[0] // 3
    parent = np.arange(m).astype(np.int32)
    for h in range(3 * m):
        if linked[h] and twins[h] >= 0:
            join(parent, np.int32(h // 3), np.int32(twins[h] // 3))
    return number_roots(parent)


@reads(0, 1, 2)
@njit(cache=True, nogil=True)
def connected_alike(twins, kind, parted):
    """Connected groups of facets of one kind.

    Parameters
    ----------
    twins : (3 m,) int32 array
    kind : (m,) int8 array
    parted : (3 m,) bool array
        Half-edges across which a group does not go on, unless it does across the twin; of no length for none.

    Returns
    -------
    (m,) int32 array
        Label of every facet, from 0.
    """
    m = twins.shape[0] // 3
    parent = np.arange(m).astype(np.int32)
    for f in range(m):
        for h in range(3 * f, 3 * f + 3):
            other = twins[h] // 3
            if twins[h] < 0 or kind[other] != kind[f] or (parted.shape[0] > 0 and parted[h]):
                continue
            join(parent, np.int32(f), np.int32(other))
    return number_roots(parent)[0]


@reads(0, 1)
@njit(cache=True, nogil=True)
def changing_edges(twins, label):
    """(k,) lower half-edge of every edge between two facets with different labels, (m,) int32, in ascending order."""
    count = 0
    for h in range(twins.shape[0]):
        if twins[h] > h and label[h // 3] != label[twins[h] // 3]:
            count += 1
    found = np.empty(count, np.int64)
    count = 0
    for h in range(twins.shape[0]):
        if twins[h] > h and label[h // 3] != label[twins[h] // 3]:
            found[count] = h
            count += 1
    return found


@reads(1)
@njit(cache=True, nogil=True)
def plane_faces(twins, normals, least_cosine, seeds):
    """Groups of facets that lie in one plane: all within an angle of the group's first facet.

    Parameters
    ----------
    seeds : (m,) int array
        Facets in the order in which groups start from them.

    Returns
    -------
    face : (m,) int32 array
        Group of each facet, numbered in order of the first facet.
    count : int
    """
    m = normals.shape[0]
    face = np.full(m, -1, np.int32)
    queue = np.empty(m, np.int32)
    count = 0
    for seed in seeds:
        if face[seed] >= 0:
            continue
        face[seed] = count
        queue[0] = seed
        head, tail = 0, 1
        while head < tail:
            f = queue[head]
            head += 1
            for k in range(3):
                twin = twins[3 * f + k]
                if twin < 0 or face[twin // 3] >= 0:
                    continue
                g = twin // 3
                cosine = 0.0
                for axis in range(3):
                    cosine += normals[g, axis] * normals[seed, axis]
                if cosine >= least_cosine:
                    face[g] = count
                    queue[tail] = g
                    tail += 1
        count += 1
    return face, count


@njit(cache=True, nogil=True)
def drop_loose_ends(faces, twins, is_edge, may_drop, vertex_count):
    """Clear edges that end in nothing, from their loose ends inward; changes `is_edge` in place.

    Only half-edges that `may_drop` go, with their twins.
    """
    degree = np.zeros(vertex_count, np.int32)
    for h in range(twins.shape[0]):
        if is_edge[h] and (twins[h] < 0 or h < twins[h]):
            degree[faces[h // 3, h % 3]] += 1
            degree[faces[h // 3, (h % 3 + 1) % 3]] += 1
    for _ in range(vertex_count):
        dropped = False
        for h in range(twins.shape[0]):
            if not (is_edge[h] and may_drop[h]) or twins[h] < h:
                continue
            a, b = faces[h // 3, h % 3], faces[h // 3, (h % 3 + 1) % 3]
            if degree[a] == 1 or degree[b] == 1:
                is_edge[h] = False
                is_edge[twins[h]] = False
                degree[a] -= 1
                degree[b] -= 1
                dropped = True
        if not dropped:
            break


@njit(cache=True, nogil=True)
def crossings_above(vertices, faces, point, skip_body, body):
    """How often a ray from `point` along +Z meets facets of other bodies than `skip_body`."""
    count = 0
    x, y, z = point[0], point[1], point[2]
    for f in range(faces.shape[0]):
        if body[f] == skip_body:
            continue
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        d0 = (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])
        d1 = (c[0] - b[0]) * (y - b[1]) - (c[1] - b[1]) * (x - b[0])
        d2 = (a[0] - c[0]) * (y - c[1]) - (a[1] - c[1]) * (x - c[0])
        if not ((d0 > 0 and d1 > 0 and d2 > 0) or (d0 < 0 and d1 < 0 and d2 < 0)):
            continue
        total = d0 + d1 + d2
        if (d1 * a[2] + d2 * b[2] + d0 * c[2]) / total > z:
            count += 1
    return count
