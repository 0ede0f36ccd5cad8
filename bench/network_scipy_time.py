"""Times the same network in SciPy: Gauss and Newton with vectorised residuals and partials, and sparse normal equations
solved by scipy.sparse.linalg.splu (minimum-degree ordering). No redundancy numbers: SciPy has no selected inverse.

Usage: network_time ACROSS POINTS listing.csv; python network_scipy_time.py listing.csv [--plain]
--plain leaves out the sample of redundancy numbers.
"""

import sys
import time

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu

A, F, K = 6378137.0, 1 / 298.257223563, 0.13
E2 = F * (2 - F)


def axes(p):
    """Axes by Bowring's closed form, one pass."""
    x, y, z = p.T
    r = np.hypot(x, y)
    b = A * (1 - F)
    beta = np.arctan2(A * z, b * r)
    lat = np.arctan2(z + E2 / (1 - E2) * b * np.sin(beta) ** 3, r - E2 * A * np.cos(beta) ** 3)
    lon = np.arctan2(y, x)
    sa, ca, so, co = np.sin(lat), np.cos(lat), np.sin(lon), np.cos(lon)
    zero = np.zeros_like(lat)
    return np.stack([np.stack([-so, co, zero], 1), np.stack([-sa * co, -sa * so, ca], 1), np.stack([ca * co, ca * so, sa], 1)], 1), lat


def main():
    stations, kinds, numbers = [], [], []
    for line in open(sys.argv[1]):
        f = line.strip().split(",")
        if f[0] == "station":
            stations.append([float(x) for x in f[2:]])
        else:
            kinds.append(f[1])
            numbers.append([float(x) for x in f[2:]])
    kinds = np.array(kinds)
    numbers = np.array(numbers)
    begin = time.perf_counter()
    n = len(stations)
    a, b = numbers[:, 0].astype(int), numbers[:, 1].astype(int)
    value, sigma, lift = numbers[:, 2], numbers[:, 3], numbers[:, 5] - numbers[:, 4]
    azimuth, inclination, slope = kinds == "Azimuth", kinds == "Inclination", kinds == "Slope"
    bases, base = np.unique(a, return_inverse=True)
    prior = np.array([stations[s][3] for s in bases])
    known = [s for s in range(n) if len(stations[s]) > 4]
    at = np.array([stations[s][4:7] for s in known])
    full = np.array([stations[s][7:13] for s in known])
    lower = np.linalg.cholesky(full[:, [0, 1, 2, 1, 3, 4, 2, 4, 5]].reshape(-1, 3, 3))
    white = np.linalg.inv(lower)
    p = np.array([s[:3] for s in stations])
    turn = np.zeros(len(bases))
    m = len(numbers)
    for iteration in range(30):
        frame, lat = axes(p)
        v = np.einsum("kij,kj->ki", frame[a], p[b] - p[a])
        v[:, 2] += lift
        e, no, u = v.T
        h = np.hypot(e, no)
        s = np.hypot(h, u)
        half = K / (2 * A * np.sqrt(1 - E2) / (1 - E2 * np.sin(lat[a]) ** 2))
        computed = np.select([azimuth, inclination, slope], [np.arctan2(e, no) - turn[base], np.arctan2(u, h) + half * s, s])
        miss = value - computed
        miss = np.where(azimuth, (miss + np.pi) % (2 * np.pi) - np.pi, miss) / sigma
        zero = np.zeros(m)
        by = np.select(
            [azimuth[:, None], inclination[:, None], slope[:, None]],
            [
                np.stack([no / h**2, -e / h**2, zero], 1),
                np.stack([-u * e / h / s**2, -u * no / h / s**2, h / s**2], 1),
                v / s[:, None],
            ],
        ) / sigma[:, None]
        there = np.einsum("ki,kij,klj->kl", by, frame[a], frame[b])
        rows = np.repeat(np.arange(m), 3)
        k = np.flatnonzero(azimuth)
        gnss = np.arange(len(known) * 3)
        columns_known = np.repeat(3 * np.array(known), 3)
        data = [-by.ravel(), there.ravel(), -1 / sigma[k], white.ravel(), 1 / prior]
        row = [rows, rows, k, m + np.repeat(gnss, 3), m + len(gnss) + np.arange(len(bases))]
        column = [
            (3 * a[:, None] + np.arange(3)).ravel(),
            (3 * b[:, None] + np.arange(3)).ravel(),
            3 * n + base[k],
            np.repeat(3 * np.array(known), 9) + np.tile(np.arange(3), 3 * len(known)),
            3 * n + np.arange(len(bases)),
        ]
        del columns_known
        jac = sp.csr_matrix((np.concatenate(data), (np.concatenate(row), np.concatenate(column))))
        frame_known, _ = axes(at)
        off = np.einsum("kij,kj->ki", frame_known, at - p[known])
        right = np.concatenate([miss, np.einsum("kij,kj->ki", white, off).ravel(), -turn / prior])
        normal = (jac.T @ jac).tocsc()
        factor = splu(normal, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        g = jac.T @ right
        x = factor.solve(g)
        # At rest: a millionth of a standard error, or the rounding of earth-centred coordinates.
        if np.sqrt(max(x @ g, 0)) < 1e-6 or np.abs(x[: 3 * n]).max() < 16 * np.finfo(float).eps * A:
            break
        p = p + np.einsum("kij,ki->kj", frame, x[: 3 * n].reshape(n, 3))
        turn = turn + x[3 * n :]
    seconds = time.perf_counter() - begin
    print(f"SciPy: {m} readings, {iteration + 1} iterations, {seconds:.2f} s, sum of squares {right @ right:.6f}")
    if "--plain" in sys.argv:
        return
    # Redundancy numbers by whole columns of the inverse, for a sample.
    sample = min(500, m)
    begin = time.perf_counter()
    some = np.linspace(0, m - 1, sample).astype(int)
    dense = jac[some].toarray().T
    np.einsum("ij,ij->j", dense, factor.solve(dense))
    print(f"SciPy: redundancy numbers by columns, {m / sample * (time.perf_counter() - begin):.1f} s for all (from {sample})")


main()
