"""Samples of the simulator's noise, given as JSON on stdin, against the distributions they claim.

Kolmogorov-Smirnov by scipy.stats.kstest against scipy's own norm and t; autocorrelation by
statsmodels.tsa.stattools.acf; the peak of a periodogram by scipy.signal.periodogram. Samples with a memory are thinned
until little of it is left before a test that wants independent ones.
"""

import json
import sys

import numpy as np
from scipy.signal import periodogram
from scipy.stats import kstest, kurtosis, norm, t
from statsmodels.tsa.stattools import acf

LAGS = (1, 5, 20, 60)


def judge(case):
    x = np.array(case["samples"])
    sigma, step_s = case["sigma"], case["step_s"]
    claimed = norm(scale=sigma)
    if case["kind"] == "student":
        freedom = case["parameter"]
        claimed = t(freedom, scale=sigma * np.sqrt((freedom - 2) / freedom))
    # Ten correlation times apart, exp(-10) is left.
    apart = int(np.ceil(10 * case["parameter"] / step_s)) if case["kind"] == "wandering" else 1
    frequency, power = periodogram(x, fs=1 / step_s)
    return {
        "name": case["name"],
        "p_value": float(kstest(x[::apart], claimed.cdf).pvalue),
        "acf": [float(a) for a in acf(x, nlags=max(LAGS), fft=True)[list(LAGS)]],
        "lags": LAGS,
        "kurtosis": float(kurtosis(x, fisher=False)),
        "peak_hz": float(frequency[np.argmax(power)]),
        "bin_hz": float(frequency[1]),
        "power_share_at_peak": float(power.max() / power.sum()),
    }


print(json.dumps([judge(case) for case in json.load(sys.stdin)]))
