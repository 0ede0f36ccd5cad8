"""Traces light through layered air and prints where shots of a rangefinder end, for tests/refraction.rs.

Usage: python curved_rays.py > curved_rays.csv
Made with Python 3.11.7, NumPy 2.4.6 and pyproj 3.7.2 (PROJ 9.5.1).

Nothing of the library's formulas is in it. The ray equation d/ds(n dr/ds) = grad n is integrated by the classical Runge-Kutta
rule in earth-centred coordinates; the air's refractive index falls with the height above the ellipsoid, n = 1.00028 - (k/R) (h - h0),
k = 0.13, R the Gaussian mean radius at the base. A shot starts at the instrument's axis, in the azimuth and the
apparent inclination that were read, and ends
- where the chord is the slope distance (shots with a slope distance), or
- where the horizontal distance in the base's horizon is the one read (shots with a horizontal distance).
A vertical distance stands for an inclination: asin(vertical/slope), atan(vertical/horizontal). The ground point of the feature lies
the target height below that end, along the ellipsoid's normal there. PROJ turns it into easting, northing and ellipsoidal height.
"""

import numpy as np
import pyproj

K, AIR, STEPS = 0.13, 1.00028, 64
INSTRUMENT_HEIGHT_M = 1.5
# The CRS of the layers and of the bases (one datum, so that no step between datums enters), and three bases.
PLACES = [
    ("EPSG:32632", "EPSG:4979", [(46.1, 8.9, 512.3), (45.95, 9.4, 1873.0), (46.4, 8.1, 2911.5)]),
    ("EPSG:2193", "EPSG:4959", [(-43.6, 170.2, 731.0), (-45.1, 168.7, 312.4), (-38.9, 175.9, 402.7)]),
    ("EPSG:6543", "EPSG:6319", [(35.6, -82.5, 650.2), (36.1, -81.7, 1240.8), (35.2, -83.4, 880.0)]),
    ("EPSG:3413", "EPSG:4979", [(78.2, -34.0, 95.0), (79.1, -52.5, 1410.0), (76.6, -68.0, 22.1)]),
    ("EPSG:31983", "EPSG:4989", [(-22.4, -44.6, 1905.0), (-20.3, -43.5, 1120.4), (-23.5, -46.1, 760.0)]),
    ("EPSG:3067", "EPSG:4937", [(69.1, 20.9, 803.3), (68.4, 27.3, 301.2), (60.2, 24.9, 21.0)]),
]


def shape(geographic):
    ellipsoid = pyproj.CRS(geographic).ellipsoid
    a, f = ellipsoid.semi_major_metre, 1 / ellipsoid.inverse_flattening
    return a, f * (2 - f)


def normal_and_height(p, a, e2):
    """Unit normals of the ellipsoid and heights, by fixed-point iteration on the latitude."""
    r = np.hypot(p[:, 0], p[:, 1])
    lat = np.arctan2(p[:, 2], r * (1 - e2))
    for _ in range(8):
        nu = a / np.sqrt(1 - e2 * np.sin(lat) ** 2)
        lat = np.arctan2(p[:, 2] + e2 * nu * np.sin(lat), r)
    nu = a / np.sqrt(1 - e2 * np.sin(lat) ** 2)
    height = r * np.cos(lat) + p[:, 2] * np.sin(lat) - a * a / nu
    lon = np.arctan2(p[:, 1], p[:, 0])
    return np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)]), height


def trace(start, ray, length, gradient, height0, a, e2):
    """Where rays are after a length of arc. The state is the place and n times the unit tangent."""

    def change(p, t):
        up, height = normal_and_height(p, a, e2)
        n = AIR - gradient * (height - height0)
        return t / n[:, None], -gradient[:, None] * up

    p, t = start.copy(), AIR * ray
    step = (length / STEPS)[:, None]
    for _ in range(STEPS):
        a1, b1 = change(p, t)
        a2, b2 = change(p + step / 2 * a1, t + step / 2 * b1)
        a3, b3 = change(p + step / 2 * a2, t + step / 2 * b2)
        a4, b4 = change(p + step * a3, t + step * b3)
        p = p + step / 6 * (a1 + 2 * a2 + 2 * a3 + a4)
        t = t + step / 6 * (b1 + 2 * b2 + 2 * b3 + b4)
    return p


def main():
    rng = np.random.default_rng(20260504)
    print("crs,bases_crs,base,lat_deg,lon_deg,height_m,true_azimuth_deg,inclination_deg,slope_distance_m,horizontal_distance_m,"
          "vertical_distance_m,target_height_m,easting,northing,ellipsoid_height_m")
    for crs, geographic, bases in PLACES:
        a, e2 = shape(geographic)
        cartesian = pyproj.CRS.from_dict({"proj": "geocent", "a": a, "es": e2, "units": "m"})
        plain = pyproj.CRS.from_dict({"proj": "longlat", "a": a, "es": e2})
        to_earth = pyproj.Transformer.from_crs(plain, cartesian, always_xy=True)
        project = pyproj.Transformer.from_crs(pyproj.CRS(geographic).to_2d(), crs, always_xy=True)
        count = 400
        which = np.arange(count) % 3
        kind = np.arange(count) // 3 % 4
        azimuth = np.round(rng.uniform(0, 360, count), 4)
        # A quarter of the shots is steep, and half of them are long.
        steep = rng.uniform(size=count) < 0.25
        inclination = np.round(np.where(steep, rng.uniform(55, 70, count) * rng.choice([-1, 1], count), rng.uniform(-55, 55, count)), 4)
        slope = np.round(np.where(rng.uniform(size=count) < 0.5, rng.uniform(800, 2000, count), rng.uniform(5, 800, count)), 3)
        angle = np.radians(inclination)
        horizontal = np.round(slope * np.cos(angle), 3)
        vertical = np.round(np.where(kind == 2, horizontal * np.tan(angle), slope * np.sin(angle)), 3)
        # What was read: 0 slope and inclination, 1 horizontal and inclination, 2 horizontal and vertical, 3 slope and vertical.
        angle = np.where(kind == 2, np.arctan2(vertical, horizontal), np.where(kind == 3, np.arcsin(vertical / slope), angle))
        target = np.round(rng.uniform(0, 2, count), 2)
        lat, lon, height = np.array(bases)[which].T
        ground = np.column_stack(to_earth.transform(lon, lat, height))
        so, co, sa, ca = np.sin(np.radians(lon)), np.cos(np.radians(lon)), np.sin(np.radians(lat)), np.cos(np.radians(lat))
        east = np.column_stack([-so, co, 0 * so])
        north = np.column_stack([-sa * co, -sa * so, ca])
        up = np.column_stack([ca * co, ca * so, sa])
        start = ground + INSTRUMENT_HEIGHT_M * up
        flat = np.sin(np.radians(azimuth))[:, None] * east + np.cos(np.radians(azimuth))[:, None] * north
        ray = np.cos(angle)[:, None] * flat + np.sin(angle)[:, None] * up
        gradient = K / (a * np.sqrt(1 - e2) / (1 - e2 * sa * sa))
        by_slope = (kind == 0) | (kind == 3)
        want = np.where(by_slope, slope, horizontal)
        length = np.where(by_slope, slope, horizontal / np.cos(angle))
        for _ in range(4):
            end = trace(start, ray, length, gradient, height + INSTRUMENT_HEIGHT_M, a, e2)
            chord = end - start
            got = np.where(by_slope, np.linalg.norm(chord, axis=1), np.hypot((chord * east).sum(1), (chord * north).sum(1)))
            length = length * want / got
        assert np.abs(got - want).max() < 1e-6
        normal, _ = normal_and_height(end, a, e2)
        foot = end - target[:, None] * normal
        foot_lon, foot_lat, foot_height = to_earth.transform(*foot.T, direction="INVERSE")
        x, y = project.transform(foot_lon, foot_lat)
        for i in range(count):
            read = {0: (inclination[i], slope[i], "", ""), 1: (inclination[i], "", horizontal[i], ""),
                    2: ("", "", horizontal[i], vertical[i]), 3: ("", slope[i], "", vertical[i])}[int(kind[i])]
            print(crs, geographic, "ABC"[which[i]], lat[i], lon[i], height[i], azimuth[i], *read, target[i],
                  f"{x[i]:.5f}", f"{y[i]:.5f}", f"{foot_height[i]:.5f}", sep=",")


main()
