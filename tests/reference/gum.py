"""The examples H.1, H.2 and H.3 of the GUM (JCGM 100:2008) by GTC, the GUM Tree Calculator."""

import json

from GTC import cos, dof, get_correlation, reporting, sin, type_a, type_b, uncertainty, ureal, value

# H.1: calibration of an end gauge. Degrees of freedom as printed.
standard = ureal(50.000623e-3, 25e-9, 18, label="standard")
mean = ureal(215e-9, 5.8e-9, 24)
random = ureal(0.0, 3.9e-9, 5)
systematic = ureal(0.0, 6.7e-9, 8)
difference = mean + random + systematic
alpha = ureal(11.5e-6, type_b.uniform(2e-6))
delta_alpha = ureal(0.0, type_b.uniform(1e-6), 50)
delta_theta = ureal(0.0, type_b.uniform(0.05), 2)
theta = ureal(-0.1, 0.2) + ureal(0.0, type_b.arcsine(0.5))
length = (standard * (1 + alpha * (theta - delta_theta)) + difference) / (1 + (delta_alpha + alpha) * theta)
h1 = {"u": uncertainty(length), "degrees": dof(length), "k99": reporting.k_factor(int(dof(length)), 99)}

# H.2: resistance and reactance from five simultaneous readings, strongly correlated.
data = [
    [5.007, 4.994, 5.005, 4.990, 4.999],
    [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
    [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
]
v, i, phi = type_a.multi_estimate_real(data)
r, x, z = v * cos(phi) / i, v * sin(phi) / i, v / i
h2 = {
    "inputs": [value(q) for q in (v, i, phi)],
    "input_u": [uncertainty(q) for q in (v, i, phi)],
    "input_r": [get_correlation(v, i), get_correlation(v, phi), get_correlation(i, phi)],
    "u": [uncertainty(q) for q in (r, x, z)],
    "r": [get_correlation(r, x), get_correlation(r, z), get_correlation(x, z)],
}

# H.3: a straight line through the corrections of a thermometer, read off at 30 C.
t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
fit = type_a.line_fit([t_k - 20.0 for t_k in t], b)
a0, a1 = fit.a_b
at_30 = a0 + a1 * 10.0
h3 = {
    "t": t,
    "b": b,
    "s2": fit.ssr / (len(t) - 2),
    "line": [value(a0), value(a1)],
    "u": [uncertainty(a0), uncertainty(a1)],
    "r": get_correlation(a0, a1),
    "at_30": [value(at_30), uncertainty(at_30), dof(at_30)],
    "k95": reporting.k_factor(int(dof(at_30)), 95),
}
print(json.dumps({"h1": h1, "h2": h2, "h3": h3}))
