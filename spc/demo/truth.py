"""The truth about the demo line for machines: every planted fault and every row written wrongly."""

import json
from typing import Any

from spc.demo.faults import Fault
from spc.demo.history import LAST_DAY, SEED, History
from spc.demo.plan import ZONE
from spc.demo.script import script
from spc.demo.slips import SLIPS, Slip


def truth(made: History) -> str:
    """Return what is wrong in `made` on purpose, as JSON."""
    outcomes = [planted.slip.outcome for planted in made.planted]
    wrong = {outcome: outcomes.count(outcome) for outcome in ("duplicate", "quarantined")}
    read = len(made.log)
    faults = script().faults
    text = {
        "zone": ZONE,
        "seed": SEED,
        "rows": {"read": read, "accepted": read - sum(wrong.values()), **wrong},
        "faults": [_fault(fault) for fault in faults if fault.first.date() <= LAST_DAY],
        "live_faults": [_fault(fault) for fault in faults if fault.first.date() > LAST_DAY],
        "slips": [_slip(slip, made) for slip in SLIPS],
    }
    return json.dumps(text, indent=1, ensure_ascii=False) + "\n"


def _fault(fault: Fault) -> dict[str, Any]:
    return {
        "id": fault.id,
        "line": fault.line,
        "check": fault.check,
        "positions": list(fault.positions),
        "from": fault.first.isoformat(timespec="minutes"),
        "to": None if fault.last is None else fault.last.isoformat(timespec="minutes"),
        "effect": fault.effect,
        "size": fault.size,
        "of_writing": fault.of_writing,
        "shift": fault.shift,
        "technician": fault.technician,
        "ends": fault.ends,
        "see": fault.see,
        "caught_by": fault.caught_by,
    }


def _slip(slip: Slip, made: History) -> dict[str, Any]:
    return {
        "id": slip.id,
        "line": slip.key.line,
        "check": slip.key.check,
        "position": slip.key.position,
        "rows": [planted.row for planted in made.planted if planted.slip is slip],
        "outcome": slip.outcome,
        "column": slip.column,
        "see": slip.see,
    }
