"""Control charts by numpy and scipy, written apart from brimwatch.

CUSUM and EWMA as in NIST/SEMATECH e-Handbook 6.3.2.3 and 6.3.2.4, by numpy alone; self-starting scores (Hawkins 1987,
Quesenberry 1991) by scipy.stats.t and norm; average run lengths by the Markov chain of Brook and Evans, "An approach to
the probability distribution of cusum run length", Biometrika 59 (1972) 539-549, and of Lucas and Saccucci (1990) for the
EWMA, with numpy.linalg.solve.
"""

import json
import sys

import numpy as np
from scipy.stats import norm, t

CELLS = 600


def cusum(values, target, k):
    """Both sums by their closed form: the partial sum less its lowest so far."""
    off = np.asarray(values) - target

    def one_side(steps):
        partial = np.concatenate([[0.0], np.cumsum(steps)])
        return (partial - np.minimum.accumulate(partial))[1:].tolist()

    return one_side(off - k), one_side(-off - k)


def ewma(values, target, weight, s, l):
    """Averages and limits from the weights written out."""
    averages, limits = [], []
    for n in range(1, len(values) + 1):
        weights = weight * (1 - weight) ** np.arange(n - 1, -1, -1)
        averages.append(float(weights @ np.asarray(values[:n]) + (1 - weight) ** n * target))
        limits.append(float(l * s * np.sqrt(np.sum(weights**2))))
    return averages, limits


def scores(values):
    """Each value against all before it, from the third on."""
    found = []
    for n in range(2, len(values)):
        before = np.asarray(values[:n])
        ratio = (values[n] - before.mean()) / before.std(ddof=1) * np.sqrt(n / (n + 1))
        found.append(float(np.sign(ratio) * norm.isf(t.sf(abs(ratio), n - 1))))
    return found


def cusum_arl_one_sided(k, h, shift):
    """Brook and Evans: the sum in cells of equal width, the lowest about zero."""
    width = 2 * h / (2 * CELLS - 1)
    middle = width * np.arange(CELLS)
    upper = middle[None, :] + width / 2 - middle[:, None] + k - shift
    stay = norm.cdf(upper) - norm.cdf(upper - width)
    stay[:, 0] = norm.cdf(upper[:, 0])
    return float(np.linalg.solve(np.eye(CELLS) - stay, np.ones(CELLS))[0])


def cusum_arl(k, h, shift):
    """Two-sided: the rates of both sides add (exact for sums that begin at zero)."""
    return 1 / (1 / cusum_arl_one_sided(k, h, shift) + 1 / cusum_arl_one_sided(k, h, -shift))


def ewma_arl(weight, l, shift):
    """Lucas and Saccucci: the average in cells of equal width between the limits of many values."""
    limit = l * np.sqrt(weight / (2 - weight))
    cells = 2 * (CELLS // 2) + 1
    width = 2 * limit / cells
    middle = -limit + width * (np.arange(cells) + 0.5)
    upper = (middle[None, :] + width / 2 - (1 - weight) * middle[:, None]) / weight - shift
    stay = norm.cdf(upper) - norm.cdf(upper - width / weight)
    return float(np.linalg.solve(np.eye(cells) - stay, np.ones(cells))[cells // 2])


asked = json.load(sys.stdin)
high, low = cusum(asked["values"], asked["target"], asked["k"])
averages, limits = ewma(asked["values"], asked["target"], asked["weight"], asked["s"], asked["l"])
print(json.dumps({
    "high": high, "low": low, "averages": averages, "limits": limits, "scores": scores(asked["values"]),
    "cusum_arl": [[k, h, shift, cusum_arl(k, h, shift)] for k, h, shift in asked["cusum_designs"]],
    "one_sided_arl": [cusum_arl_one_sided(0.5, 3.0, shift) for shift in (0.0, 1.5)],
    "ewma_arl": ewma_arl(asked["chart_weight"], asked["chart_l"], 0.0),
}))
