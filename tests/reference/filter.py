"""Log-likelihood, last state and its covariance of a linear state space, by statsmodels' Kalman filter.

Given as JSON on stdin: for each block its length, the memory and the walk of each witness, the row's design, its noise and
what it showed. States: constants, three walks, three noises with a memory (the last six).
"""

import json
import sys

import numpy as np
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

blocks = json.load(sys.stdin)
n, steps = len(blocks[0]["design"]), len(blocks)
walk, slow = range(n - 6, n - 3), range(n - 3, n)


def passing(block):
    """Transition and noise of the states over a block."""
    t, q = np.eye(n), np.zeros((n, n))
    for i, (memory_s, per_s) in enumerate(zip(block["slow_s"], block["walk_kg2_per_s"])):
        left = np.exp(-block["dt_s"] / memory_s)
        t[slow[i], slow[i]] = left
        q[slow[i], slow[i]] = 1 - left**2
        q[walk[i], walk[i]] = per_s * block["dt_s"]
    return t, q


transition, state_cov = np.zeros((n, n, steps)), np.zeros((n, n, steps))
for k in range(steps):
    # From block k to the next; after the last nothing follows.
    transition[..., k], state_cov[..., k] = passing(blocks[min(k + 1, steps - 1)])
start = np.eye(n)
for i in walk:
    start[i, i] = 0.0
first, noise = passing(blocks[0])

kalman = KalmanFilter(k_endog=1, k_states=n, k_posdef=n)
kalman.bind(np.array([b["shown_kg"] for b in blocks]))
kalman["design"] = np.array([b["design"] for b in blocks]).T[None, :, :]
kalman["obs_cov"] = np.array([b["noise_kg2"] for b in blocks])[None, None, :]
kalman["transition"], kalman["state_cov"] = transition, state_cov
kalman["selection"] = np.eye(n)
kalman.initialize_known(np.zeros(n), first @ start @ first.T + noise)
kalman.loglikelihood_burn = 0
found = kalman.filter()
print(
    json.dumps(
        {
            "log_likelihood": float(found.llf),
            "state": [float(x) for x in found.filtered_state[:, -1]],
            "covariance": [[float(x) for x in row] for row in found.filtered_state_cov[:, :, -1]],
        }
    )
)
