"""The sum of two legs by the GUM Tree Calculator (GTC, Measurement Standards Laboratory of New Zealand).

One load goes into one tank on two days. The meter's gain and zero, the scale's span, the tank's table, the density, the
line's and the trailer's volume and the gas's temperature are the same error in both legs; every reading, the scale's
drift and the pressure's noise are new. The model is written once, each shared error one variable: GTC finds what the sum
makes of it (JCGM 100:2008, 5.2 and F.1.2.3). Values from the site and delivery files as shipped; the formulas are those of
docs/worked-delivery.md.
"""

import json
import math
import sys

import numpy as np
from GTC import get_covariance, uncertainty, ureal, value

given = json.load(sys.stdin)


def off(u):
    """An error of expectation nothing."""
    return ureal(0.0, u)


def rounding(division, noise, readings):
    """What rounding leaves in the mean of so many readings (delivery.py)."""
    stays = math.exp(-4.0 * (math.pi * noise / division) ** 2)
    return off(division / math.sqrt(12.0) * math.sqrt(stays + (1.0 - stays) / readings))


def lasting(slow, memory, stretch):
    """Noise with a memory in its mean over a stretch (delivery.py)."""
    x = stretch / memory
    return off(slow * math.sqrt(2.0 / x * (1.0 - (1.0 - math.exp(-x)) / x)))


def reading(noise, slow, memory, division, readings, stretch):
    """What is off in the mean of so many readings within a stretch of seconds."""
    return off(noise / math.sqrt(readings)) + lasting(slow, memory, stretch) + rounding(division, noise, readings)


START = (60, 59.0)
CLOSE = (1, 60.0)
CONVENTIONAL = 1.0 - 1.2 / 8000.0
ATMOSPHERE = 101325.0
NITROGEN = 8.314462618 / 0.0280134

rho = (1518.1 + 1510.9) / 2.0
density = 1.0 + off(0.001)
before = 0.015 * (1.0 + off(0.1)) * rho
behind = 0.040 * (1.0 + off(0.1)) * rho
gain = 1.0 + off(0.0015)
zero = off(0.0005)
span = 1.0 + off(0.0005)
table = 1.0 + off(0.0025)
kelvin = 293.15 + off(10.0)
trailer = 15.5 * (1.0 + off(0.01))

liquid = 20060.0 * CONVENTIONAL
ticket = liquid + liquid / rho * ATMOSPHERE / (NITROGEN * 293.15) + off(26.0)


def received(leg):
    """By each witness, and by all of them (generalised least squares)."""
    hours = leg["elapsed_s"] / 3600.0
    flow = leg["counted"] * gain + zero * leg["elapsed_s"] - behind
    lift = CONVENTIONAL * leg["lifted"] * span + off(10.0 * math.sqrt(hours))
    lift += reading(6.0, 5.0, 20.0, 20.0, *START) - reading(6.0, 5.0, 20.0, 20.0, *CLOSE)
    pressure = off(math.hypot(math.hypot(200.0, 200.0 / math.sqrt(START[0])), 600.0))
    gas_start = (ATMOSPHERE + 120e3) / (NITROGEN * kelvin)
    gas_end = (ATMOSPHERE + 125e3 + pressure) / (NITROGEN * kelvin)
    head = trailer - leg["on_board"] / rho
    scale = (lift + head * (gas_end - gas_start)) / (1.0 - gas_end / rho) - before - behind
    rise = leg["rise"] + reading(0.002, 0.0016, 15.0, 0.001, *CLOSE) - reading(0.002, 0.0016, 15.0, 0.001, *START)
    tank = math.pi / 4.0 * 2.84**2 * table * rise * rho * density
    witnesses = [flow, scale, tank]
    covariance = np.array([[get_covariance(a, b) for b in witnesses] for a in witnesses])
    weights = np.linalg.solve(covariance, np.ones(3))
    weights /= weights.sum()
    return witnesses, sum(float(w) * x for w, x in zip(weights, witnesses))


def pair(x):
    return value(x), uncertainty(x)


legs = [received(leg) for leg in given["legs"]]
together = sum(both for _, both in legs)
in_line = len(legs) * (before + behind)
by_witness = [ticket - sum(witnesses[at] for witnesses, _ in legs) - in_line for at in range(3)]
json.dump(
    {
        "each": [pair(both) for _, both in legs],
        "together": pair(together),
        "left": [pair(left) for left in by_witness] + [pair(ticket - together - in_line)],
        "left_after_the_first": pair(ticket - legs[0][1] - before - behind),
        "as_if_independent": math.hypot(*[uncertainty(both) for _, both in legs]),
    },
    sys.stdout,
)
