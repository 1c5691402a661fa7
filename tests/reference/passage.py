"""Quantiles of the inverse Gaussian distribution: when a walk with drift first passes a mark."""

import json
import sys

from scipy.stats import invgauss

cases = json.load(sys.stdin)
json.dump([[float(invgauss.ppf(p, mu / shape, scale=shape)) for p in (0.05, 0.5, 0.95)] for mu, shape in cases], sys.stdout)
