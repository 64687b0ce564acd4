#!/usr/bin/env python3
"""What `steadydraw coupling` and `steadydraw predict` answer, as someone would write it with general tools: for the comparison of speed only.

Reads bench.toml and points.csv of the demo layout; tries every combination of a few forms by weighted least squares, weighs them by AICc, tests the
fan level by F and by 5000 permutations within mode, intake and block, and predicts every setting with an interval.
Fewer forms than steadydraw tries, and no doubts beyond the tests: the comparison leans towards this script.
"""
import itertools
import sys
import tomllib

import numpy as np
import pandas as pd
from scipy import stats

folder = sys.argv[1]
with open(f"{folder}/bench.toml", "rb") as f:
    bench = tomllib.load(f)
points = pd.read_csv(f"{folder}/{bench['points']['file']}", comment="#")
points.columns = [c.split(" [")[0] for c in points.columns]
runs = points[points.kind.fillna("cooling") == "cooling"].copy()
blower = points[points.kind == "fan-only"].groupby("fan").power.mean()
side = runs.power - runs.fan.map(blower)
y = np.log(side.to_numpy())
w = (side / runs.power).to_numpy() ** 2
flow = np.log(runs.airflow.to_numpy() / runs.airflow.median())
t, a = (runs[c].to_numpy() - runs[c].mean() for c in ("intake_temp", "ambient_temp"))
mode = pd.get_dummies(runs["mode"]).to_numpy(float)
fan = pd.get_dummies(runs.fan.astype(int)).to_numpy(float)
n = len(runs)


def fit(x):
    root = np.sqrt(w)[:, None]
    b, _, rank, _ = np.linalg.lstsq(root * x, root[:, 0] * y, rcond=None)
    rss = float(np.sum(w * (y - x @ b) ** 2))
    return b, rss, rank


settings = {"modes": mode, "levels": np.hstack([mode, fan[:, 1:]]), "power": np.hstack([mode, flow[:, None]]),
            "power by mode": np.hstack([mode, mode * flow[:, None]]), "both": np.hstack([np.einsum("ij,ik->ijk", mode, fan).reshape(n, -1)])}
intakes = {"none": np.empty((n, 0)), "slope": t[:, None], "by mode": mode * t[:, None], "bend": np.column_stack([t, t * t])}
ambients = {"none": np.empty((n, 0)), "slope": a[:, None], "by mode": mode * a[:, None]}
candidates = []
for (sn, s), (i_n, i), (an, am) in itertools.product(settings.items(), intakes.items(), ambients.items()):
    x = np.hstack([s, i, am])
    b, rss, rank = fit(x)
    if rank < x.shape[1]:
        continue
    k = rank + 1
    candidates.append((n * np.log(rss / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1), (sn, i_n, an), x, b, rss))
    loo = 0.0
    h = np.einsum("ij,ji->i", x, np.linalg.pinv(np.sqrt(w)[:, None] * x) * np.sqrt(w))
    loo = float(np.sqrt(np.mean(((y - x @ b) / (1 - h)) ** 2)))
candidates.sort(key=lambda c: c[0])
weights = np.exp(-(np.array([c[0] for c in candidates]) - candidates[0][0]) / 2)
weights /= weights.sum()

full, _, _ = np.hstack([mode, fan[:, 1:], t[:, None], a[:, None]]), 0, 0
_, with_fan, p1 = fit(full)
_, without, p0 = fit(np.hstack([mode, t[:, None], a[:, None]]))
f_value = (without - with_fan) / (p1 - p0) / (with_fan / (n - p1))
p_value = stats.f.sf(f_value, p1 - p0, n - p1)
x = np.hstack([mode, flow[:, None], t[:, None], a[:, None]])
b, rss, p = fit(x)
u = np.sqrt(rss / (n - p) * np.linalg.inv(x.T @ (w[:, None] * x))[mode.shape[1], mode.shape[1]])
low, high = b[mode.shape[1]] + np.array([-1, 1]) * stats.t.ppf(0.975, n - p) * u

rng = np.random.default_rng(1)
strata = [np.flatnonzero(g) for g in pd.get_dummies(runs["mode"].astype(str) + runs.intake_temp.round(-1).astype(str) + runs.block.astype(str)).to_numpy(bool).T]
rest = np.hstack([mode, t[:, None], a[:, None]])
root = np.sqrt(w)[:, None]
q, _ = np.linalg.qr(root * rest)
r = root[:, 0] * y - q @ (q.T @ (root[:, 0] * y))
more = 0
for _ in range(5000):
    order = np.arange(n)
    for s in strata:
        order[s] = rng.permutation(s)
    f_new = root * fan[order][:, 1:]
    f_new = f_new - q @ (q.T @ f_new)
    more += float(r @ (f_new @ np.linalg.lstsq(f_new, r, rcond=None)[0])) >= without - with_fan
print(f"elasticity {b[mode.shape[1]]:.3f} ({low:.3f} to {high:.3f}), F p {p_value:.2g}, permutation p {(more + 1) / 5001:.4f}")
for weight, (_, names, cx, cb, crss) in zip(weights[:3], candidates[:3]):
    print(f"{weight:.2f} {names}")
for m, g in itertools.product(range(mode.shape[1]), sorted(runs.fan.unique())):
    rows = np.flatnonzero((mode[:, m] > 0) & (runs.fan == g).to_numpy())
    if len(rows):
        means = [float(c[2][rows].mean(axis=0) @ c[3]) for c in candidates]
        print(m, int(g), round(float(np.exp(weights @ means)) + blower.get(g, 0.0), 1))
