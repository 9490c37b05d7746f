"""The closed plans that ship, carried out once in a worker, whichever of its files asks first.

One takes 2 to 11 s of processor, and some twenty files ask.  What is handed out is frozen, but the
model remembers what it works out of it: a test that changes a constant of the model carries the
plan out on a copy (``dataclasses.replace``), so that no other test sees that.  Workers cannot hand
them to one another by files: cells and chains of a layout are told apart by their identity.
"""

from functools import cache

from model.built import Built
from model.carfile import demo_car_path, demo_closed_path, demo_closed_way_path, read_car
from model.evaluate import build_checked
from model.planfile import read_plan


@cache
def closed_plan(car_name: str, way: str = "") -> Built:
    """Return a closed plan that ships, carried out: ``CAR-closed``, or ``CAR-WAY-closed``."""
    car = read_car(demo_car_path(car_name))
    path = demo_closed_way_path(car_name, way) if way else demo_closed_path(car_name)
    return build_checked(car, read_plan(path, car))
