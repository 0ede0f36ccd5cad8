"""Solves a listed network with SciPy and prints places, covariances and the sum of squares.

Usage: python network_scipy.py network_random_101.csv > network_random_101_solved.csv
Made with Python 3, NumPy and SciPy 1.17.1 (scipy.optimize.least_squares, method "lm"; partials by central differences).

Lines of the listing (all lengths in metres, angles in radians):
station,index,x,y,z[,sigma_orientation[,x,y,z,ee,en,eu,nn,nu,uu]]   earth-centred start, then the observed position
reading,kind,from,to,value,sigma,instrument height,target height
Unknown are east, north and up of each station in the axes at the first station, and one orientation for each base. The
model is written anew from the definitions: readings in the horizon of the base on WGS 84, refraction k = 0.13.
"""

import sys

import numpy as np
from scipy.optimize import least_squares

A, F, K = 6378137.0, 1 / 298.257223563, 0.13
E2 = F * (2 - F)


def geodetic(p):
    """Latitude, longitude by fixed-point iteration (not the method of the library)."""
    x, y, z = p
    r = np.hypot(x, y)
    lat = np.arctan2(z, r * (1 - E2))
    for _ in range(30):
        nu = A / np.sqrt(1 - E2 * np.sin(lat) ** 2)
        lat = np.arctan2(z + E2 * nu * np.sin(lat), r)
    return lat, np.arctan2(y, x)


def axes(p):
    lat, lon = geodetic(p)
    sa, ca, so, co = np.sin(lat), np.cos(lat), np.sin(lon), np.cos(lon)
    return np.array([[-so, co, 0], [-sa * co, -sa * so, ca], [ca * co, ca * so, sa]])


def main():
    stations, readings = [], []
    for line in open(sys.argv[1]):
        if line.startswith("#"):
            continue
        f = line.strip().split(",")
        if f[0] == "station":
            stations.append([float(x) for x in f[2:]])
        elif f[0] == "reading":
            readings.append((f[1], int(f[2]), int(f[3]), *[float(x) for x in f[4:]]))
    origin = np.array(stations[0][:3])
    frame = axes(origin)
    start = np.array([frame @ (np.array(s[:3]) - origin) for s in stations])
    bases = sorted({r[1] for r in readings})
    n = len(stations)

    def residuals(x):
        place = x[: 3 * n].reshape(n, 3)
        turn = dict(zip(bases, x[3 * n :]))
        p = origin + place @ frame
        out = []
        for s, station in enumerate(stations):
            if len(station) > 4:
                at = np.array(station[4:7])
                ee, en, eu, nn, nu, uu = station[7:13]
                c = np.array([[ee, en, eu], [en, nn, nu], [eu, nu, uu]])
                out.extend(np.linalg.solve(np.linalg.cholesky(c), axes(at) @ (p[s] - at)))
        for b in bases:
            out.append(turn[b] / stations[b][3])
        horizon = {b: axes(p[b]) for b in bases}
        for kind, a, b, value, sigma, ih, th in readings:
            e, nn, u = horizon[a] @ (p[b] - p[a])
            u += th - ih
            h = np.hypot(e, nn)
            s = np.hypot(h, u)
            if kind == "Azimuth":
                d = np.arctan2(e, nn) - value - turn[a]
                d = (d + np.pi) % (2 * np.pi) - np.pi
            elif kind == "Inclination":
                lat = geodetic(p[a])[0]
                radius = A * np.sqrt(1 - E2) / (1 - E2 * np.sin(lat) ** 2)
                d = np.arctan2(u, h) + K * h / (2 * radius) - value
            elif kind == "Slope":
                d = s - value
            else:
                raise ValueError(kind)
            out.append(d / sigma)
        return np.array(out)

    x0 = np.concatenate([start.ravel(), np.zeros(len(bases))])
    scale = np.concatenate([np.ones(3 * n), 0.01 * np.ones(len(bases))])
    found = least_squares(lambda y: residuals(y * scale), x0 / scale, jac="3-point", method="trf", x_scale="jac",
                          ftol=1e-15, xtol=1e-15, gtol=1e-15, max_nfev=60)
    x = found.x * scale
    step = 1e-3
    columns = []
    for k in range(len(x)):
        d = np.zeros(len(x))
        d[k] = step * scale[k]
        columns.append((residuals(x + d) - residuals(x - d)) / (2 * d[k]))
    q = np.linalg.inv(np.array(columns) @ np.array(columns).T)
    p = origin + x[: 3 * n].reshape(n, 3) @ frame
    print(f"sum,{2 * found.cost:.12g},{len(found.fun)},{len(x)}")
    for s in range(n):
        c = q[3 * s : 3 * s + 3, 3 * s : 3 * s + 3]
        cross = q[0:3, 3 * s : 3 * s + 3]
        numbers = [*p[s], c[0, 0], c[0, 1], c[0, 2], c[1, 1], c[1, 2], c[2, 2], *cross.ravel()]
        print(f"station,{s}," + ",".join(f"{v:.15g}" for v in numbers))
    for k, b in enumerate(bases):
        print(f"orientation,{b},{x[3 * n + k]:.12g},{np.sqrt(q[3 * n + k, 3 * n + k]):.12g}")


main()
