"""Nitrogen by CoolProp (HEOS), that is Span et al., J. Phys. Chem. Ref. Data 29 (2000) 1361."""

import json

from CoolProp.CoolProp import PropsSI

NITROGEN = "HEOS::Nitrogen"

print(
    json.dumps(
        {
            "constant_j_per_kg_k": PropsSI("gas_constant", NITROGEN) / PropsSI("M", NITROGEN),
            "density": [
                {"celsius": t, "pa_abs": p, "kg_per_m3": PropsSI("D", "T", t + 273.15, "P", p, NITROGEN)}
                for t in range(-20, 61, 5)
                for p in (1.0e5, 1.01325e5, 1.5e5, 2.0e5, 2.7369e5, 3.0e5, 3.4264e5, 4.0e5)
            ],
        }
    )
)
