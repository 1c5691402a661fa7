"""500 random vessels and levels by fluids (fluids.geometry.TANK): upright and lying, every head, mixed heads too.

fluids follows D. Jones, "Computing Fluid Tank Volumes", Chemical Processing. Its "ellipsoidal" heads are true ellipses.
"""

import json
import random

from fluids.geometry import TANK

draw = random.Random(20)


def head(side, diameter):
    """Keywords of a head, and the same in words: kind and two numbers."""
    kind = draw.choice([None, "conical", "ellipsoidal", "torispherical"])
    if kind is None:
        return {}, ["flat", 0.0, 0.0]
    if kind == "torispherical":
        f, k = draw.uniform(0.8, 1.2), draw.uniform(0.06, 0.15)
        return {f"side{side}": kind, f"side{side}_f": f, f"side{side}_k": k}, [kind, f, k]
    depth = diameter * draw.uniform(0.1, 0.5)
    return {f"side{side}": kind, f"side{side}_a": depth}, [kind, depth, 0.0]


def case(lying):
    diameter, shell = draw.uniform(0.8, 4.0), draw.uniform(1.0, 12.0)
    first, first_said = head("A", diameter)
    second, second_said = head("B", diameter) if lying else ({}, ["flat", 0.0, 0.0])
    tank = TANK(D=diameter, L=shell, horizontal=lying, **first, **second)
    level = tank.h_max * draw.uniform(0.02, 0.98)
    return {
        "lying": lying,
        "diameter_m": diameter,
        "shell_m": shell,
        "heads": [first_said, second_said],
        "level_m": level,
        "volume_m3": tank.V_from_h(level),
        "top_m": tank.h_max,
    }


print(json.dumps([case(lying=n % 2 == 0) for n in range(500)]))
