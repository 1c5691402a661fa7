"""Densities of ethylene glycol, pure and in water, and tables read by numpy.interp.

Pure: chemicals, two correlations fitted apart from each other: Perry's Chemical Engineers' Handbook, 8th ed.
(DIPPR equation 105), and VDI Heat Atlas, 2nd ed. 2010 (PPDS equation). CoolProp has no pure ethylene glycol;
methanol is by its reference equation of state, styrene by VDI. A solution of 60 % glycol by mass (INCOMP::MEG, after A. Melinder, "Properties of Secondary Working Fluids for
Indirect Systems", IIR 2010) shows what reading a table by straight lines costs.
"""

import json

import numpy
from chemicals.dippr import EQ105
from chemicals.identifiers import MW
from chemicals.volume import rho_data_Perry_8E_105_l as PERRY
from chemicals.volume import rho_data_VDI_PPDS_2 as VDI
from chemicals.volume import volume_VDI_PPDS
from CoolProp.CoolProp import PropsSI

GLYCOL = "107-21-1"
STEP_K = 10.0


def perry(celsius):
    row = PERRY.loc[GLYCOL]
    mol_per_m3 = EQ105(celsius + 273.15, *(float(row[c]) for c in ("C1", "C2", "C3", "C4")))
    return mol_per_m3 * MW(GLYCOL) / 1000.0


def vdi(celsius, cas=GLYCOL):
    row = VDI.loc[cas]
    return volume_VDI_PPDS(celsius + 273.15, *(float(row[c]) for c in ("Tc", "rhoc", "A", "B", "C", "D")))


def solution(celsius):
    return PropsSI("D", "T", celsius + 273.15, "P", 101325.0, "INCOMP::MEG[0.60]")


def straight_lines_bound(below, above):
    """Straight lines err by no more than step^2 / 8 x the largest second derivative in between."""
    at = (below, (below + above) / 2, above)
    bend = max(abs(solution(t - 0.5) - 2 * solution(t) + solution(t + 0.5)) / 0.25 for t in at)
    return (above - below) ** 2 / 8 * bend


temperatures = [STEP_K * i for i in range(-1, 9)]
table = [solution(t) for t in temperatures]
read = []
for i in range(40):
    below = temperatures[i % 9]
    celsius = below + STEP_K * ((i * 0.618034) % 1.0)
    read.append(
        {
            "celsius": celsius,
            "exact": solution(celsius),
            "numpy": float(numpy.interp(celsius, temperatures, table)),
            "bound": straight_lines_bound(below, below + STEP_K),
        }
    )

print(
    json.dumps(
        {
            "pure": [{"celsius": t, "perry": perry(t), "vdi": vdi(t)} for t in numpy.arange(0.0, 100.1, 2.5)],
            "solution_table": list(zip(temperatures, table)),
            "solution_read": read,
            "methanol": [(t, PropsSI("D", "T", t + 273.15, "P", 101325.0, "Methanol")) for t in range(-20, 61, 5)],
            "styrene": [(t, vdi(t, "100-42-5")) for t in range(-10, 61, 5)],
        }
    )
)
