"""Every number is taken back out of the exported STEP files by a reader that knows nothing of the program.

The files and the report come from :mod:`exported`, through a fixture; what is
imported here and in :mod:`comparison` reads STEP and does sums.
"""

import json

import numpy as np
import pytest
from blind_reader import Move
from blind_seams import BlindCar
from comparison import LENGTH_MM, differences, read_case

SHIPPED = ("coupe", "pickup", "coupe, square cuts", "pickup, side by side")
GENERATED = tuple(f"generated {seed}" for seed in range(20))
QUICK = ("coupe", "pickup", "pickup, side by side", "generated 3")


def _marked(name):
    return name if name in QUICK else pytest.param(name, marks=pytest.mark.heavy)


@pytest.mark.parametrize("name", [_marked(name) for name in (*SHIPPED, *GENERATED)])
def test_what_the_files_say_is_what_the_report_says(name, folder_of, record_property):
    """Take-outs, marks, misses, lengths, gaps, steps, angles and opening distances, one by one."""
    found = differences(*read_case(folder_of(name)))
    record_property("blind", json.dumps(found.worst))
    assert not found.failures, "\n".join(found.failures[:40])
    assert sum(count for _, count, _ in found.worst.values()) > 500


def test_a_report_that_is_wrong_by_a_little_is_found_out(folder_of):
    """A report that is wrong by a little is found out: the comparison is awake."""
    car, report = read_case(folder_of("pickup"))
    told = json.loads(json.dumps(report))
    for seam in told["seams"]:
        for station in seam["stations"]:
            station["gap_mm"] += 1.2 * LENGTH_MM
    for post in told["posts"]:
        post["take_out_mm"] += 1.2 * LENGTH_MM
        post["miss_across_mm"] = -post["miss_across_mm"]
    told["window"]["rear_opening_change_mm"] = 1e-5
    failing = {line.split(":")[0] for line in differences(car, told).failures}
    assert {"gap", "take-out", "miss", "rear opening"} <= failing


def test_a_file_that_is_wrong_by_a_little_is_found_out(folder_of):
    """The roof and what moves with it set down 0.06 mm too low and too far back, in the chopped file only."""
    car, report = read_case(folder_of("pickup"))
    by = Move(np.eye(3), 1.2 * LENGTH_MM * np.array([1.0, 0.0, -1.0]))
    with_roof = [n for n in car.stock if n == "roof" or n.endswith((" upper", " on roof"))]
    chopped = car.chopped | {n: car.chopped[n].moved(by) for n in with_roof}
    failing = {line.split(":")[0] for line in differences(BlindCar(car.stock, chopped), report).failures}
    assert {"miss", "gap", "take-out", "drop", "roof forward"} <= failing
    assert not {"lean", "mark", "rear opening", "seam length"} & failing
