"""The labelled replies (written for this service, by one hand) know no fault that the catalogue does not.

Source: `data/replies.jsonl` of the shared folder.
"""

import json
import os
from pathlib import Path

import pytest

from service.core.devices import catalogue, fits
from service.core.district import Device, DeviceKind, Side

SHARED = Path(os.environ.get("BELLCHECK_SHARED", Path(__file__).parents[2].parent / "shared"))
REPLIES = SHARED / "data" / "replies.jsonl"


def test_every_labelled_fault_fits_the_devices_of_its_student() -> None:
    if not REPLIES.exists():
        pytest.skip("shared/data/replies.jsonl is not here; set BELLCHECK_SHARED")
    codes = catalogue()
    checked = 0
    for line in REPLIES.read_text("utf-8").splitlines():
        case = json.loads(line)
        held = {str(one["number"]): one["devices"] for one in case["students"]}
        for number, outcome in case["expect"]["outcomes"].items():
            devices = [
                Device(DeviceKind(one["kind"]), Side(one["side"]) if one["side"] else None)
                for one in held[number]
            ]
            for fault in outcome["faults"]:
                sides = fits(codes[fault["code"]], devices)
                alone = sides[0] if len(sides) == 1 else None
                assert sides, (case["id"], fault)
                assert fault["side"] is None or fault["side"] in sides, (case["id"], fault)
                assert fault["side"] is not None or alone is None, (case["id"], fault)
                checked += 1
    assert checked > 50
