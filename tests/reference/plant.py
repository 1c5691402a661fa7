"""Vessels by fluids' exact geometry; the emptying of a vessel through a pipe by scipy's integrator, friction by fluids."""

import json
import sys
from math import acos, pi, sin, sqrt

from fluids.friction import friction_factor
from fluids.geometry import TANK
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

G, CRITICAL = 9.80665, (2000.0, 4000.0)


def volume(case):
    kinds = {"flat": {}, "ellipsoidal": {}, "torispherical": {}, "spherical": {}}
    d, kind = case["diameter_m"], case["kind"]
    assert kind in kinds
    sides = {"sideA": None if kind == "flat" else kind, "sideB": None if kind == "flat" else kind}
    if kind == "ellipsoidal":
        sides |= {"sideA_a": case["first"] * d, "sideB_a": case["first"] * d}
    if kind == "spherical":
        sides |= {"sideA_a": d / 2, "sideB_a": d / 2}
    if kind == "torispherical":
        sides |= {"sideA_f": case["first"], "sideB_f": case["first"], "sideA_k": case["second"], "sideB_k": case["second"]}
    tank = TANK(D=d, L=case["shell_m"], horizontal=case["lies"], **sides)
    return [tank.V_from_h(share * tank.h_max) for share in case["shares"]]


def factor(re, rough):
    """Laminar, Colebrook, and straight between, as the simulator says of its critical zone."""
    low, high = CRITICAL
    if re <= low:
        return 64 / re
    if re >= high:
        return friction_factor(Re=re, eD=rough, Method="Colebrook")
    return 64 / low + (friction_factor(Re=high, eD=rough, Method="Colebrook") - 64 / low) * (re - low) / (high - low)


def flow(case, driving):
    area = pi / 4 * case["bore_m"] ** 2

    def off(q):
        v, rho = q / area, case["density_kg_per_m3"]
        re = rho * v * case["bore_m"] / case["viscosity_pa_s"]
        f = factor(max(re, 1e-12), case["roughness_m"] / case["bore_m"])
        return (f * case["length_m"] / case["bore_m"] + case["loss_k"]) * rho * v * v / 2 - driving

    return brentq(off, 1e-12, 1.0, xtol=1e-16, rtol=1e-14) if driving > 0 else 0.0


def discharge(case):
    """Mass in an open upright vessel under a steady pressure, at the times asked for."""
    area = pi / 4 * case["vessel_m"] ** 2
    rho = case["density_kg_per_m3"]

    def slope(_, y):
        return [-rho * flow(case, case["pad_pa"] + rho * G * y[0] / rho / area)]

    done = solve_ivp(slope, (0, case["times_s"][-1]), [case["start_kg"]], method="DOP853", t_eval=case["times_s"], rtol=1e-11, atol=1e-7)
    return list(done.y[0])


given = json.load(sys.stdin)
json.dump({"volumes": [volume(c) for c in given["vessels"]], "discharges": [discharge(c) for c in given["discharges"]]}, sys.stdout)
