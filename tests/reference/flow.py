"""Gas flow: critical flow by API 520 Part I (fluids), a line with friction and a filling vessel by integration (scipy)."""

import json
from math import pi, sqrt

from fluids.safety_valve import API520_A_g
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

K, R, M_G = 1.4, 8.314462618 / 0.0280134, 28.0134
AIR, T0 = 101325.0, 293.15


def api_kg_per_s(p1, p2, area):
    """API 520 gives the area for a flow, and area grows in proportion to it."""
    return area / API520_A_g(m=1.0, T=T0, Z=1.0, MW=M_G, k=K, P1=p1, P2=p2, Kd=1.0, Kb=1.0, Kc=1.0)


def march(p0, mach, loss):
    """Pressure at the end of a line, by its momentum equation: dM2/dx = K M4 (1 + (K-1)/2 M2) / (1 - M2) with x in
    velocity heads, and the gas law with the mass flow held constant. None where it chokes before its end."""
    rest = 1 + (K - 1) / 2 * mach**2
    p1 = p0 / rest ** (K / (K - 1))

    def slope(_, y):
        return [K * y[0] ** 2 * (1 + (K - 1) / 2 * y[0]) / (1 - y[0])]

    def near_sonic(_, y):
        return y[0] - 0.9999

    near_sonic.terminal = True
    done = solve_ivp(slope, (0, loss), [mach**2], events=near_sonic, rtol=1e-10, atol=1e-12)
    if done.status == 1:
        return None
    m2 = done.y[0][-1]
    return p1 * mach / sqrt(m2) * sqrt(rest / (1 + (K - 1) / 2 * m2))


def line_kg_per_s(p0, loss, area):
    def off(mach):
        end = march(p0, mach, loss)
        return -AIR if end is None else end - AIR

    mach = brentq(off, 1e-3, 0.9)
    rest = 1 + (K - 1) / 2 * mach**2
    return area * p0 / rest ** (K / (K - 1)) * mach * sqrt(K * rest / (R * T0))


def fill_s(supply, start, end, volume, area):
    """Until the vessel's pressure reaches its end, the flow by API 520 at every moment."""

    def slope(_, p):
        return [K * R * T0 * api_or_subsonic(supply, p[0], area) / volume]

    def there(_, p):
        return p[0] - end

    there.terminal = True
    done = solve_ivp(slope, (0, 1e5), [start], events=there, rtol=1e-9, max_step=5.0)
    return done.t_events[0][0]


def api_or_subsonic(p1, p2, area):
    """Saint-Venant and Wantzel's flow below the speed of sound."""
    r = max(p2 / p1, (2 / (K + 1)) ** (K / (K - 1)))
    return area * p1 * sqrt(2 * K / (K - 1) / (R * T0) * (r ** (2 / K) - r ** ((K + 1) / K)))


area = pi / 4 * 0.0525**2
print(
    json.dumps(
        {
            "opening": [
                {"from_pa": p, "kg_per_s": api_kg_per_s(p, AIR, pi / 4 * 0.006**2)} for p in (250e3, 400e3, 653e3, 2e6)
            ],
            "line": [
                {"from_pa": p, "loss": k, "kg_per_s": line_kg_per_s(p, k, area)}
                for p, k in ((110e3, 5), (130e3, 30), (170e3, 30), (225430.0, 100))
            ],
            "fill": [
                {"supply_pa": s, "s": fill_s(s, 225430.0, 308168.0, 2.3, pi / 4 * 0.006**2)} for s in (3.2e5, 4e5, 6.53e5)
            ],
        }
    )
)
