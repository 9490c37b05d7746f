"""Published limits to view and glass, each with its source and where it holds.

Those of the driver's view are asked of new cars; which of all of them an old
car must keep, local law decides.
"""

from __future__ import annotations

WINDSHIELD_LEAST_MM = 152.4
WINDSHIELD_SOURCE = (
    "Washington State, WAC 204-10-024: 6 in of unobstructed glass, or as built; local law decides"
)
_LAW = "for new cars; local law decides"
UP_LEAST_DEG = 7.0
UP_SOURCE = f"UN Regulation 125 (UNECE), ¶5.1.1.2, from memory: windshield clear 7° above V1, {_LAW}"
DOWN_LEAST_DEG = 5.0
DOWN_SOURCE = f"UN Regulation 125 (UNECE), ¶5.1.1.3: windshield clear 5° below V2, {_LAW}"
POST_MOST_DEG = 6.0
POST_SOURCE = f"UN Regulation 125 (UNECE), ¶5.1.2, from memory: an A-post hides at most 6°, {_LAW}"
HORIZON_DEG = 0.0
ROAD_DEG = 1.5  # road 61 m (200 ft) behind a mirror 1.6 m above it, assumed the highest in a lowered car
WIDTH_LEAST_DEG = 20.0
REAR_SOURCE = (
    f"49 CFR 571.111 S5.1.1 (USA), from memory: road from 200 ft behind to the horizon, 20° wide, {_LAW}"
)
