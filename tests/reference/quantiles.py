"""Upper quantiles of chi-square by scipy.stats.chi2.isf."""

import json

from scipy.stats import chi2

TAILS = (0.5, 0.1, 0.05, 0.025, 0.01, 1e-3, 1e-4, 1e-5, 1e-6, 1e-9)

print(json.dumps([(tail, nu, float(chi2.isf(tail, nu))) for tail in TAILS for nu in range(1, 11)]))
