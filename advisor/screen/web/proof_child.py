"""Lays the passes of one plan: ``python -m advisor.screen.web.proof_child ASKED ANSWER``, pickles of our own making."""

from __future__ import annotations

import json
import pickle
import sys
from pathlib import Path

from advisor.advice.session import Session
from advisor.errors import InputError


def main(asked: Path, answer: Path) -> None:
    """Plan what was asked, and tell on standard output how far it is."""
    part, keys, subject = pickle.loads(asked.read_bytes())
    try:
        plan = Session(part, keys, subject).plan(_tell, lays_passes=True)
    except InputError as fault:
        print(json.dumps({"fault": [fault.subject, fault.problem, fault.remedy]}), flush=True)
        return
    data = pickle.dumps((plan.record, plan.facets, plan.outlines, plan.passes))
    beside = answer.with_suffix(".part")
    beside.write_bytes(data)
    beside.rename(answer)


def _tell(what: str, share: float) -> None:
    print(json.dumps({"what": what, "share": share}), flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
