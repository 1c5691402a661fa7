"""Tank volumes by fluids (fluids.geometry.TANK), and tables read by numpy.interp.

fluids follows D. Jones, "Computing Fluid Tank Volumes", Chemical Processing.
"""

import json

import numpy
from fluids.geometry import TANK

STEP_M = 0.01  # a table every 10 mm


def upright():
    """Upright cylinders on flat bottoms: level and volume from empty to full."""
    for diameter in (0.5, 1.2, 2.5, 3.66, 6.0, 12.0):
        for height in (1.0, 2.44, 7.3, 14.6):
            tank = TANK(D=diameter, L=height, horizontal=False)
            levels = [height * k / 7 for k in range(7)] + [height]
            yield {
                "diameter_m": diameter,
                "height_m": height,
                "level_m_volume_m3": [(level, tank.V_from_h(level)) for level in levels],
            }


ASME = {"sideA": "torispherical", "sideA_f": 1.0, "sideA_k": 0.06}
STRAPPED = {
    "horizontal, flat": dict(D=2.0, L=5.0, horizontal=True),
    "horizontal, ellipsoidal 2:1": dict(
        D=2.4, L=6.0, horizontal=True, sideA="ellipsoidal", sideA_a=0.6, sideB="ellipsoidal", sideB_a=0.6
    ),
    "horizontal, torispherical": dict(
        D=3.0, L=8.0, horizontal=True, sideB="torispherical", sideB_f=1.0, sideB_k=0.06, **ASME
    ),
    "horizontal, spherical": dict(
        D=2.0, L=4.0, horizontal=True, sideA="spherical", sideA_a=0.5, sideB="spherical", sideB_a=0.5
    ),
    "upright, conical bottom": dict(D=2.5, L=5.0, horizontal=False, sideA="conical", sideA_a=0.8),
    "upright, ellipsoidal bottom": dict(D=3.0, L=4.0, horizontal=False, sideA="ellipsoidal", sideA_a=0.75),
}


def strapped(name, tank):
    """A table of the tank, and levels between its points with the exact volume and what numpy reads.

    Straight lines err by no more than step x (largest - smallest slope) / 4, the slope of a volume being the
    liquid's surface. The surface is monotonic between two points here (each step ends at half height and
    joints change it one way only), so its values at the ends bound it.
    """
    count = round(tank.h_max / STEP_M)
    levels = [tank.h_max * i / count for i in range(count + 1)]
    volumes = [tank.V_from_h(level) for level in levels]
    surfaces = [tank.A_cross_sectional(level) for level in levels]
    read = []
    for i in range(0, count, 5):
        level = levels[i] + (levels[i + 1] - levels[i]) * ((i * 0.618034) % 1.0)
        bound = (levels[i + 1] - levels[i]) * abs(surfaces[i + 1] - surfaces[i]) / 4
        read.append(
            {
                "level_m": level,
                "exact_m3": tank.V_from_h(level),
                "numpy_m3": float(numpy.interp(level, levels, volumes)),
                "bound_m3": bound,
            }
        )
    return {"tank": name, "table_m_m3": list(zip(levels, volumes)), "read": read}


print(
    json.dumps(
        {
            "upright": list(upright()),
            "strapped": [strapped(name, TANK(**shape)) for name, shape in STRAPPED.items()],
        }
    )
)
