#!/usr/bin/env python3
"""The same work in steadydraw and in general tools, in one run on one core.

    cargo build --release --bins && cargo bench --bench speed --no-run
    python3 benches/beside.py

Needs numpy, scipy and pandas (figures in README.md: numpy 2.4.6, scipy 1.17.1, pandas 3.1.1, Python 3.11).
"""
import json
import os
import platform
import statistics
import subprocess
import sys
import time

for v in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "RAYON_NUM_THREADS"):
    os.environ[v] = "1"
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, {sorted(os.sched_getaffinity(0))[-1]})

import numpy as np  # noqa: E402
import pandas  # noqa: E402
import scipy  # noqa: E402
from scipy.optimize import curve_fit  # noqa: E402

here = os.path.dirname(os.path.abspath(__file__))
root = os.path.dirname(here)


def median_ms(work, rounds=5):
    work()
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(1000 * (time.perf_counter() - start))
    return statistics.median(times)


def permutations():
    """100 000 arrangements of 48 runs at three levels, all at once: the sums of each level by fancy indexing."""
    rng = np.random.default_rng(1)
    y = rng.standard_normal(48)

    def work():
        orders = rng.permuted(np.broadcast_to(np.arange(48), (100_000, 48)), axis=1)
        sums = y[orders].reshape(100_000, 3, 16).sum(axis=2)
        return (sums**2).sum(axis=1)

    return median_ms(work)


def curve(x, a, b, c, d):
    return a + b / (1 + np.exp(-c * (x - d)))


def slopes(x, a, b, c, d):
    e = np.exp(-c * (x - d))
    s = 1 / (1 + e)
    return np.column_stack([np.ones_like(x), s, b * s * s * e * (x - d), -b * s * s * e * c])


def refits(jac):
    """2000 bootstrap refits of four parameters through 40 readings, from the best fit."""
    rng = np.random.default_rng(2)
    x = np.linspace(0, 10, 40)
    y = curve(x, 20, 80, 1.3, 5) + 1.5 * rng.standard_normal(40)
    best, _ = curve_fit(curve, x, y, p0=[15, 90, 1, 4.5])
    fitted, residuals = curve(x, *best), y - curve(x, *best)

    def work():
        for _ in range(2000):
            curve_fit(curve, x, fitted + rng.choice(residuals, 40), p0=best, jac=jac)

    return median_ms(work, 3)


def command(args):
    return median_ms(lambda: subprocess.run(args, check=True, stdout=subprocess.DEVNULL), 7)


# A built bench and program may be named instead: beside.py SPEED STEADYDRAW.
speed = [sys.argv[1]] if len(sys.argv) > 2 else ["cargo", "bench", "--locked", "--bench", "speed", "--"]
bench = subprocess.run([*speed, "--json", "--short"], cwd=root, check=True, capture_output=True, text=True)
ours = json.loads(bench.stdout.strip().splitlines()[-1])
demo = os.path.join(root, "data", "demo")
program = sys.argv[2] if len(sys.argv) > 2 else os.path.join(root, "target", "release", "steadydraw")
rows = [
    ("100 000 permutations of 48 runs", ours["permutation: 100 000 of 48 runs"], "numpy, vectorised", permutations(), 3),
    ("2 000 bootstrap refits, 4 parameters", ours["bootstrap: 2 000 refits of 4 parameters"], "scipy curve_fit", refits(None), 20),
    ("the same", ours["bootstrap: 2 000 refits of 4 parameters"], "scipy curve_fit, exact slopes", refits(slopes), 20),
    (
        "whole command: coupling of the demo",
        command([program, "coupling", demo]),
        "numpy, pandas, scipy: benches/equivalent.py",
        command([sys.executable, os.path.join(here, "equivalent.py"), demo]),
        50,
    ),
]
print(f"Python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}, pandas {pandas.__version__}; one core; medians")
print("| work | steadydraw, ms | general tool | ms | times | goal |\n| --- | --- | --- | --- | --- | --- |")
for what, mine, tool, other, goal in rows:
    print(f"| {what} | {mine:.1f} | {tool} | {other:.0f} | {other / mine:.1f} | {goal} |")
