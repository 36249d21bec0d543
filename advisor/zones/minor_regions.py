"""Regions too small to be named one by one are noted together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from advisor import tolerances
from advisor.zones.classes import UNDERCUT
from advisor.zones.patches import SMALL, Patches


def note_together(patches: Patches, region: NDArray[np.int64], ball_mm: float) -> tuple[Patches, NDArray[np.int64]]:
    """Regions smaller than half the ball's own footprint, and than a share of the part, become one.

    Undercuts below a share of the part become another one, whatever the ball, for they belong to other set-ups.

    Returns
    -------
    patches : with the patches so noted as small features
    region : (p,) regions, numbered from 0 again
    """
    area = np.bincount(region, patches.area_mm2)
    footprint = np.pi * ball_mm**2 / 4
    limit = min(tolerances.MINOR_SHARE_OF_FOOTPRINT * footprint, tolerances.MINOR_SHARE_OF_AREA * float(area.sum()))
    is_small = np.zeros(len(area), bool)
    is_small[region[patches.kind == SMALL]] = True
    under = np.zeros(len(area), bool)
    under[region[patches.patch_class == UNDERCUT]] = True
    kind, features, target = patches.kind.copy(), patches.features.copy(), np.arange(len(area))
    under_limit = tolerances.MINOR_UNDERCUT_SHARE * float(area.sum())
    for chosen, noted in (((area < limit) & ~under | is_small, True), ((area < under_limit) & under, False)):
        members = np.flatnonzero(chosen)
        if len(members) < tolerances.FEWEST_FEATURES_TO_COLLECT and not is_small[members].any():
            continue
        target[members] = members[0]
        theirs = np.isin(region, members)
        features[theirs] = int(patches.features[theirs & (patches.kind == SMALL)].sum()) + int(
            (~is_small[members]).sum()
        )
        if noted:
            kind[theirs] = SMALL
    _, renumbered = np.unique(target[region], return_inverse=True)
    return replace(patches, kind=kind, features=features), renumbered.astype(np.int64)
