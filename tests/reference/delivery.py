"""The worked delivery by the GUM Tree Calculator (GTC, Measurement Standards Laboratory of New Zealand).

GTC carries every influence with its derivative (JCGM 100:2008, 5.1 and F.1.2.3), so nothing here says what two results
share: the model is written once and GTC finds the covariances. The model is docs/worked-delivery.md's, written out
from the readings and from the site and delivery files as shipped, apart from brimwatch.
"""

import json
import math
import sys

import numpy as np
from GTC import get_covariance, uncertainty, ureal, value

given = json.load(sys.stdin)
hours = given["elapsed_s"] / 3600.0


def off(u):
    """An error of expectation nothing."""
    return ureal(0.0, u)


def rounding(division, noise, readings):
    """What rounding leaves in the mean of so many readings: uniform over one division (4.3.7), less what noise dithers away
    (Widrow and Kollar 2008, ch. 19)."""
    stays = math.exp(-4.0 * (math.pi * noise / division) ** 2)
    return off(division / math.sqrt(12.0) * math.sqrt(stays + (1.0 - stays) / readings))


def lasting(slow, memory, stretch):
    """Noise with a memory in its mean over a stretch (Papoulis 1991, ch. 9: the mean of an Ornstein-Uhlenbeck process)."""
    x = stretch / memory
    return off(slow * math.sqrt(2.0 / x * (1.0 - (1.0 - math.exp(-x)) / x)))


def reading(shown, noise, slow, memory, division, readings, stretch):
    """The mean of so many changes of a register within a stretch of seconds."""
    return shown + off(noise / math.sqrt(readings)) + lasting(slow, memory, stretch) + rounding(division, noise, readings)


START = (60, 59.0)  # the start reading is the mean of a minute, one a second
CLOSE = (1, 60.0)  # at the close it is evened out over a minute, in which the register did not change
CONVENTIONAL = 1.0 - 1.2 / 8000.0  # OIML D 28
ATMOSPHERE = 101325.0
NITROGEN = 8.314462618 / 0.0280134  # J/(kg K): CODATA 2018 molar constant over the molar mass

rho = (1518.1 + 1510.9) / 2.0  # product file at 35 C, half-way between 30 and 40 C
rho_true = rho * (1.0 + off(0.001))
before = 0.015 * (1.0 + off(0.1)) * rho  # line before and behind the meter
behind = 0.040 * (1.0 + off(0.1)) * rho

# Ticket: net in air to mass, and the gas that the load displaced at the loading rack, at 20 C.
liquid = 20060.0 * CONVENTIONAL
ticket = liquid + liquid / rho * ATMOSPHERE / (NITROGEN * 293.15) + off(26.0)

# By flow meter.
counted = (1224535.0 - 1204500.0) * (1.0 + off(0.0015)) + off(0.0005) * given["elapsed_s"]
flow = counted - behind

# By scale: what left the trailer, the gas that took its place left on the scale.
lift = CONVENTIONAL * (38120.0 - 18080.0) * (1.0 + off(0.0005))
lift += off(10.0 * math.sqrt(hours))
lift += reading(0.0, 6.0, 5.0, 20.0, 20.0, *START) - reading(0.0, 6.0, 5.0, 20.0, 20.0, *CLOSE)
kelvin = 293.15 + off(10.0)
pressure = off(math.hypot(math.hypot(200.0, 200.0 / math.sqrt(START[0])), 600.0))
gas_start = (ATMOSPHERE + 120e3) / (NITROGEN * kelvin)
gas_end = (ATMOSPHERE + 125e3 + pressure) / (NITROGEN * kelvin)
head = 15.5 * (1.0 + off(0.01)) - value(ticket) / rho
out = (lift + head * (gas_end - gas_start)) / (1.0 - gas_end / rho)
scale = out - before - behind

# By tank level.
area = math.pi / 4.0 * 2.84**2
rise = reading(4.185, 0.002, 0.0016, 15.0, 0.001, *CLOSE) - reading(2.100, 0.002, 0.0016, 15.0, 0.001, *START)
tank = area * (1.0 + off(0.0025)) * rise * rho_true

# Together: generalised least squares (Aitken 1935).
witnesses = [flow, scale, tank]
covariance = np.array([[get_covariance(a, b) for b in witnesses] for a in witnesses])
weights = np.linalg.solve(covariance, np.ones(3))
weights /= weights.sum()
together = sum(float(w) * x for w, x in zip(weights, witnesses))


def against_ticket(received):
    difference = received + before + behind - ticket
    return value(difference), uncertainty(difference)


def pair(x):
    return value(x), uncertainty(x)


json.dump(
    {
        "ticket": pair(ticket),
        "line": pair(before + behind),
        "witnesses": [pair(x) for x in witnesses],
        "together": pair(together),
        "weights": list(weights),
        "differences": [against_ticket(x) for x in witnesses],
        "difference": against_ticket(together),
    },
    sys.stdout,
)
