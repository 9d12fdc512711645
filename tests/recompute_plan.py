"""Recomputes a plan from the camera and the night alone, and compares.

    python3 tests/recompute_plan.py camera.toml night.toml plan.json

Written from the formulas (CCD equation, photon flux of V = 0, Rayleigh, Kasten & Young air mass, thermal law), not
from the program's source; it shares nothing with it but the tables of filters, lamps and Bortle classes, which are
data. It takes sub length, counts and cadence from the plan, recomputes rates, signal to noise and wall-clock time,
and looks for a plan that reaches the goal in clearly less time. Exit code 1 when something differs by more than 1 %.
Needs Python 3.11 and numpy.
"""

import argparse
import functools
import json
import math
import sys
import tomllib

import numpy as np

TOLERANCE = 0.01
# The recommended length may cost 3 % more than the best (10 % where no round length fits under a bound); rounding of
# few subs adds its own.
OPTIMUM_TOLERANCE = 0.04
PHOTONS_V0 = 9955.0  # s^-1 cm^-2 nm^-1 at V = 0: Bessell, Castelli & Plez 1998
RAYLEIGH = 1e6 / (4 * math.pi) / (180 / math.pi * 3600) ** 2  # photons s^-1 cm^-2 arcsec^-2: Leinert et al. 1998
BOLTZMANN = 8.617333262e-5  # eV/K

BORTLE = dict(zip(range(1, 10), (21.9, 21.7, 21.5, 20.9, 19.8, 18.9, 18.5, 17.9, 17.2)))

# Photons per nm over those in V, at these wavelengths in nm, straight lines between.
AT = (400, 425, 450, 475, 500.7, 520, 540, 560, 580, 600, 620, 640, 656.3, 672.4, 700)
SPECTRA = {
    "moon": (1.141, 1.442, 1.331, 1.107, 1.1, 1.088, 1.027, 0.946, 0.893, 0.824, 0.797, 0.755, 0.68, 0.67, 0.67),
    "natural": (0.484, 0.679, 0.752, 0.657, 0.65, 0.86, 1.139, 1.388, 1.058, 1.127, 1.415, 1.074, 0.85, 0.80, 1.0),
    "mixed": (0.133, 0.187, 0.264, 0.371, 0.50, 0.649, 0.851, 1.122, 1.49, 1.954, 1.433, 1.009, 0.75, 0.60, 0.75),
    "sodium": (0.031, 0.044, 0.069, 0.136, 0.45, 0.31, 0.445, 0.815, 1.747, 3.154, 2.031, 0.882, 0.45, 0.45, 0.474),
    "led-3000": (0.128, 0.18, 0.253, 0.356, 0.45, 0.617, 0.839, 1.121, 1.474, 1.562, 1.663, 1.261, 1.0, 0.75, 0.80),
    "led-4000": (0.126, 0.21, 0.43, 0.726, 0.62, 1.19, 1.074, 0.803, 0.918, 1.237, 1.453, 1.005, 0.70, 0.50, 0.51),
}
# B-V of a target, by the word for its colour.
COLOURS = {"sun-like": 0.65, "elliptical": 0.92, "spiral": 0.65, "irregular": 0.42, "reflection": 0.10,
           "star-cluster": 0.50, "globular": 0.70, "h-ii": 0.30}
LAMPS_PER_AIR = 0.6  # mag brighter for each further air of scattering
AIRGLOW_SHARE = 0.6  # Patat 2003, appendix C
BROAD = {"luminance": (550.0, 300.0), "red": (640.0, 100.0), "green": (538.0, 82.0), "blue": (450.0, 108.0)}
LINES = {"h-alpha": (656.3,), "oiii": (500.7,), "sii": (672.4,), "dual": (656.3, 500.7)}
ARRAY = {"R": (600.0, 77.0), "G": (530.0, 107.0), "B": (465.0, 88.0)}
ARRAY_AT_LINE = {("R", 656.3): 0.26, ("R", 672.4): 0.13, ("G", 500.7): 0.76, ("B", 500.7): 0.53}
RED_FLANK = ((620.0, 656.3, 672.4, 700.0), (None, 0.26, 0.13, 0.03))
PEAK_BESIDE_GREEN = {"R": 0.55, "G": 1.0, "B": 1.01}
OZONE = ((440, 500, 550, 600, 656, 720, 800), (0.0, 0.010, 0.028, 0.030, 0.018, 0.005, 0.0))


def value(entry):
    """A number, or the value of a number with its uncertainty."""
    return entry["value"] if isinstance(entry, dict) else entry


def bell(colour, nm):
    centre, width = ARRAY[colour]
    return np.exp(-0.5 * ((nm - centre) / (width / math.sqrt(2 * math.pi))) ** 2)


def response(colour, nm, modified=False):
    """Of a stock array's pixels, own peak = 1, at wavelengths in nm."""
    nm = np.asarray(nm, dtype=float)
    whole = bell(colour, nm)
    if colour == "R" and modified:
        return np.where(nm > 600, np.maximum(1 - 0.25 * (nm - 600) / 56.3, 0), whole)
    if colour == "R":
        places, seen = RED_FLANK
        seen = np.log((float(bell("R", places[0])), *seen[1:]))
        beyond = seen[-1] + (nm - places[-1]) * (seen[-1] - seen[-2]) / (places[-1] - places[-2])
        return np.where(nm > 620, np.exp(np.where(nm > 700, beyond, np.interp(nm, places, seen))), whole)
    missed = ARRAY_AT_LINE[colour, 500.7] / float(bell(colour, 500.7)) - 1
    return whole * (1 + missed * np.clip((nm - ARRAY[colour][0]) / (500.7 - ARRAY[colour][0]), 0, 1))


def window(centre, width):
    """Middles of fine steps."""
    return centre + width * ((np.arange(4000) + 0.5) / 4000 - 0.5)


def windows(entry, colour, modified):
    """(centre, width, transmission, QE, QE at line or None, kind) of each window of a filter on a plane; the kind is where
    the plane sees light there: wavelengths with weights."""
    name = entry.get("name")
    given = entry.get("quantum_efficiency")
    if isinstance(given, dict):
        peak = given[colour]
    elif colour is None:
        peak = given if given is not None else 0.75
    else:
        peak = min(1.0, (given if given is not None else 0.5) * PEAK_BESIDE_GREEN[colour])
    if "centre_nm" in entry:
        raise SystemExit("this check knows only the named filters")
    if name in LINES:
        if modified:
            raise SystemExit("this check knows only unmodified colour cameras behind line filters")
        width, transmission = entry.get("width_nm", 6.0), entry.get("transmission", 0.90)
        for line in LINES[name]:
            at_line = 1.0 if colour is None else ARRAY_AT_LINE.get((colour, line), 0.0)
            seen = 1.0 if colour is None else response(colour, window(line, width)).mean()
            if at_line >= 0.1:
                # So narrow a filter is seen evenly.
                yield line, width, transmission, peak * seen, peak * at_line, (window(line, width), 1.0)
        return
    if colour is None:
        centre, width = BROAD[name]
        sees = peak if name in ("luminance", "red") else None
        kind = window(centre, width), 1.0
        yield centre, entry.get("width_nm", width), entry.get("transmission", 0.95), peak, sees, kind
        return
    if name in ("red", "green", "blue") and colour != name[0].upper():
        return
    centre, width = (610.0, 105.0) if modified and colour == "R" else ARRAY[colour]
    at_line = peak * (0.75 if modified else 0.26) if colour == "R" else None
    transmission = entry.get("transmission", 1.0 if name == "none" else 0.95)
    seen = window(550.0, 320.0)
    yield centre, entry.get("width_nm", width), transmission, peak, at_line, (seen, response(colour, seen, modified))


def mean(kind, light):
    nm, weight = kind
    return float((weight * light(nm)).sum() / (weight * np.ones_like(nm)).sum())


def spectrum(light, kind):
    return mean(kind, lambda nm: np.interp(nm, AT, SPECTRA[light]))


def colour_factor(b_minus_v, kind):
    """Photons per nm of a black body of this B-V over those in V: Ballesteros 2012, Planck."""
    kelvin = 4600 * (1 / (0.92 * b_minus_v + 1.7) + 1 / (0.92 * b_minus_v + 0.62))
    photons = lambda nm: nm**-4.0 / np.expm1(1.438777e7 / (nm * kelvin))
    return mean(kind, photons) / mean((window(545.0, 85.0), 1.0), photons)


def extinction(wavelength, height):
    """Green 1992: air, ozone and haze, magnitudes per air mass."""
    ratio = 510.0 / wavelength
    air = 0.1451 * ratio**4 * math.exp(-height / 7996.0)
    haze = 0.120 * ratio**1.3 * math.exp(-height / 1500.0)
    return air + float(np.interp(wavelength, *OZONE)) + haze


def sky_magnitude(sky):
    if "bortle" in sky:
        return BORTLE[sky["bortle"]]
    if "mag_per_arcsec2" in sky:
        return sky["mag_per_arcsec2"]
    if "limiting_mag" in sky:
        return 21.58 - 5 * math.log10(10 ** (1.586 - sky["limiting_mag"] / 5) - 1)
    raise SystemExit("this check knows no sky that was measured in electrons")


class Chain:
    """From light to electrons per second in one pixel."""

    def __init__(self, night, pixel_um):
        optics, site = night["optics"], night.get("site", {})
        self.site, self.target = site, night["target"]
        self.modified = night.get("camera", {}).get("modified", False)
        area = math.pi / 4 * (optics["aperture_mm"] ** 2 - optics.get("obstruction_mm", 0.0) ** 2) / 100
        self.scale = math.degrees(pixel_um * 1e-3 / optics["focal_length_mm"]) * 3600
        self.area = area * optics.get("transmission", 0.9)
        altitude = self.target.get("altitude_deg", 50.0)
        horizon = 0.50572 * (altitude + 6.07995) ** -1.6364
        self.airmass = 1 / (math.sin(math.radians(altitude)) + horizon)  # Kasten & Young 1989

    def air(self, wavelength):
        height = self.site.get("height_m", 0.0)
        in_v = self.site.get("extinction_mag", extinction(545.0, height))
        k = in_v * extinction(wavelength, height) / extinction(545.0, height)
        return 10 ** (-0.4 * k * self.airmass)

    def brightening(self):
        """Natural light and lamps at the target's altitude over those at the zenith: Patat 2003; common practice."""
        zenith = math.radians(90 - self.target.get("altitude_deg", 50.0))
        further = (1 - 0.96 * math.sin(zenith) ** 2) ** -0.5 - 1
        k = self.site.get("extinction_mag", extinction(545.0, self.site.get("height_m", 0.0)))
        natural = (1 + AIRGLOW_SHARE * further) * 10 ** (-0.4 * k * further)
        return natural, 10 ** (0.4 * LAMPS_PER_AIR * further)

    def rates(self, entry, colour):
        """Target and sky, e-/s; None where the plane sees nothing."""
        target = sky = 0.0
        seen = False
        magnitude = sky_magnitude(self.site.get("sky", {"bortle": 6}))
        lamps = self.site.get("lamps", "mixed")
        for centre, width, transmission, efficiency, at_line, kind in windows(entry, colour, self.modified):
            seen = True
            factor = self.area * self.scale**2 * transmission
            natural = 10 ** (-0.4 * max(magnitude, 22.0))
            artificial = max(10 ** (-0.4 * magnitude) - natural, 0.0)
            here = self.brightening()
            light = spectrum("natural", kind) * natural * here[0] + spectrum(lamps, kind) * artificial * here[1]
            sky += PHOTONS_V0 * light * width * efficiency * factor
            if "surface_brightness_mag" in self.target:
                flux = PHOTONS_V0 * 10 ** (-0.4 * self.target["surface_brightness_mag"])
                b_minus_v = self.target.get("b_minus_v", COLOURS[self.target.get("colour", "sun-like")])
                target += flux * colour_factor(b_minus_v, kind) * width * efficiency * factor * self.air(centre)
            if "line_rayleigh" in self.target and at_line is not None:
                # A broad window sees H-alpha, through the air of its own colour.
                line = centre if entry.get("name") in LINES else 656.3
                target += self.target["line_rayleigh"] * RAYLEIGH * factor * at_line * self.air(line)
        return (target, sky) if seen else None

    def moon(self, entry, colour, magnitude):
        """Moonlight of a V magnitude, e-/s."""
        flux = PHOTONS_V0 * 10 ** (-0.4 * magnitude) * self.area * self.scale**2
        parts = windows(entry, colour, self.modified)
        return sum(flux * spectrum("moon", p[5]) * p[1] * p[2] * p[3] for p in parts)


def dark_current(plane, sensor_c):
    """Rate, its change per kelvin, and the spread among the pixels."""
    kelvin = sensor_c + 273.15
    points = plane.get("dark_current", [])
    nearest = min(points, key=lambda point: abs(point.get("sensor_c", 1e9) - sensor_c), default=None)
    spread = (nearest or {}).get("nonuniformity_percent", 31.0) / 100
    if "thermal" in plane:
        law = plane["thermal"]
        reference = law["reference_c"] + 273.15
        energy = value(law["activation_ev"]) / BOLTZMANN
        thermal = value(law["reference_e_per_s"]) * (kelvin / reference) ** 1.5
        thermal *= math.exp(energy * (1 / reference - 1 / kelvin))
        slope = thermal * (1.5 / kelvin + energy / kelvin**2)
        return thermal + law.get("floor_e_per_s", 0.0), slope, spread
    if nearest is None:
        return 0.0, 0.0, spread
    rate = value(nearest["e_per_s"]) * 2 ** ((sensor_c - nearest.get("sensor_c", sensor_c)) / 6.5)
    return rate, rate * math.log(2) / 6.5, spread


@functools.cache
def overlap(box, side):
    """Share of a patch of `side` pixels that two random whole places in a square of `box` pixels have in common."""
    whole = math.floor(side)
    axis = [
        sum(max(0.0, s - abs(a - b)) for a in range(box) for b in range(box)) / (s * box**2)
        for s in (whole, whole + 1)
    ]
    return (axis[0] + (side - whole) * (axis[1] - axis[0])) ** 2


def shared(mode, plane, part):
    """Shares of one pixel's variance that are its own, its row's and its column's, from the profile's `noise_by_scale`.

    A part counts when it makes the squares of the deviations, in units of their uncertainty, less by 25.
    """
    points = []
    for table in mode.get("noise_by_scale", []):
        if (table["plane"], table["part"]) != (plane["plane"], part):
            continue
        one = table["variance_e2"][0]
        for n, variance, sigma in zip(table["pixels"], table["variance_e2"], table["uncertainty_e2"]):
            if n > 1 or table["over"] == "square":
                wide = n if table["over"] != "column" else 1
                high = n if table["over"] != "row" else 1
                points.append((wide, high, variance / one, sigma / max(variance, sigma)))
    if len(points) < 3:
        return np.array([1.0, 0.0, 0.0])
    wide, high, ratio, relative = np.array(points).T
    design = np.array([1 / (wide * high), 1 / high, 1 / wide]).T

    def fit(taken):
        sigma = relative * abs(ratio)
        for _ in range(3):
            found = np.zeros(3)
            found[taken] = np.linalg.lstsq(design[:, taken] / sigma[:, None], ratio / sigma, rcond=None)[0]
            found = np.maximum(found, 0.0)
            sigma = relative * np.maximum(design @ found, 1e-9)
        return float((((ratio - design @ found) / sigma) ** 2).sum()), found

    taken = [0]
    chi2, shares = fit(taken)
    while len(taken) < 3:
        better, more = min(((fit(taken + [k]), k) for k in (1, 2) if k not in taken), key=lambda one: one[0][0])
        if better[0] >= chi2 - 25:
            break
        taken.append(more)
        chi2, shares = better
    return shares / shares.sum()


class PlaneNoise:
    """Variance of one pixel of a stack."""

    def __init__(self, night, mode, plane, rates, moon, sensor_c, cooled):
        counts = night.get("calibration", {})
        self.n_dark, self.n_flat = counts.get("darks", 30), counts.get("flats", 25)
        self.n_bias = counts.get("biases", 50)
        self.target, self.sky = rates
        self.moon = moon
        self.dark, slope, spread = dark_current(plane, sensor_c)
        step = mode.get("dn_step", 1) * value(plane["gain_e_per_dn"])
        self.read2 = value(plane["read_noise_e"]) ** 2 + step**2 / 12
        self.flat_e = value(plane["saturation_e"]) / 2
        mismatch = counts.get("dark_mismatch_c", 0.0 if cooled else 2.0)
        self.left = slope * mismatch * spread if self.n_dark else self.dark * spread
        bare = self.n_dark == 0 and self.n_bias == 0
        self.left_offset = value(plane.get("dsnu_e", 0.0)) if bare else 0.0
        self.left_response = 0.0 if self.n_flat else value(plane.get("prnu_percent", 1.0)) / 100
        self.clip = night.get("stack", {}).get("clip_sigma", 3.0)
        self.rounding2 = step**2 / 12
        self.shapes = [shared(mode, plane, part) for part in ("random", "fixed")]
        self.sampling = plane.get("sampling", 1.0)

    def in_patch(self, shares, box, pixels, side):
        """Variance of a patch's mean times its pixels over that of one pixel: in one place, and in all of the box."""
        lines = side if self.sampling > 0.375 else side / 2
        common = overlap(box, side)
        once = shares @ [1.0, pixels / lines, pixels / lines]
        return once, shares @ [common, pixels / lines * common**0.5, pixels / lines * common**0.5]

    def clip_cost(self, subs):
        if not self.clip:
            return 1.0
        k = self.clip
        for _ in range(200):  # sigma of what is left of a Gaussian that is clipped at itself
            inside = math.erf(k / math.sqrt(2))
            left = 1 - 2 * k * math.exp(-k * k / 2) / math.sqrt(2 * math.pi) / inside
            k = self.clip * math.sqrt(left)
        return 1 + (1 / (inside * left) - 1) * subs / (subs + 45)

    def snr(self, t, subs, every, box, pixels, side):
        shot = (self.target + self.sky + self.moon + self.dark) * t
        light = (self.target + self.sky + self.moon) * t
        read2 = self.read2 - self.rounding2
        white = (self.left_response * light) ** 2 + (light**2 / (self.n_flat * self.flat_e) if self.n_flat else 0.0)
        masters_read = 0.0
        if self.n_dark:
            white += (self.dark * t + self.rounding2) / self.n_dark
            masters_read = read2 / self.n_dark
        elif self.n_bias:
            white += self.rounding2 / self.n_bias
            masters_read = read2 / self.n_bias
        levels = (self.left * t) ** 2 + self.left_offset**2
        random, fixed = (self.in_patch(shares, box, pixels, side) for shares in self.shapes)
        once = white + masters_read * random[0] + levels * fixed[0]
        floor = white * overlap(box, side) + masters_read * random[1] + levels * fixed[1]
        places = np.maximum(subs / every, 1.0)
        bands = read2 * (random[0] - 1)
        variance = self.clip_cost(subs) * (shot + self.read2) / subs + bands / subs
        variance = variance + once / places + (1 - 1 / places) * floor
        self.variance = variance
        return self.target * t * np.sqrt(pixels / variance)

    def shares(self, t, subs, every, box, pixels, side):
        """Percent of the stack's variance of each light."""
        self.snr(t, subs, every, box, pixels, side)
        each = 100 * self.clip_cost(subs) * t / subs / self.variance
        return {name: getattr(self, name) * each for name in ("target", "sky", "moon", "dark")}


class Check:
    def __init__(self):
        self.failed = False

    def same(self, what, mine, theirs, tolerance=TOLERANCE):
        apart = abs(mine - theirs) / max(abs(theirs), 1e-12)
        good = apart <= tolerance
        self.failed |= not good
        print(f"{'ok  ' if good else 'FAIL'} {what}: recomputed {mine:.6g}, plan {theirs:.6g}")

    def no_better(self, what, mine, theirs, tolerance):
        good = theirs <= mine * (1 + tolerance)
        self.failed |= not good
        print(f"{'ok  ' if good else 'FAIL'} {what}: least found {mine:.6g}, plan {theirs:.6g}")


def least_time(governing, plan, night, filter_plan):
    """Wall-clock seconds of the best of a grid of lengths and cadences."""
    rules = night.get("stack", {})
    in_all = max(rules.get("min_positions", 15), rules.get("min_positions_per_night", 10))
    clear = night.get("goal", {}).get("clear_hours_per_night", 4.0) * 3600
    if plan.get("night"):
        clear = min(clear, plan["night"]["usable_hours"] * 3600)
    between, settle = filter_plan["between_subs_s"], filter_plan["settle_s"]
    loss = filter_plan["lost_subs_per_hour"] / 3600
    limits = [limit for limit in filter_plan["limits_s"].values() if limit is not None]
    longest = min(limits + [3600.0])
    best = math.inf
    for t in np.geomspace(min(1.0, longest / 2), longest, 60):
        for every in sorted({*range(1, 13), *np.geomspace(13, 300, 20).astype(int)}):
            if every * (t + between) + settle > clear / rules.get("min_positions_per_night", 10):
                continue
            low, high = float(max(rules.get("min_subs", 15), in_all * every)), 1e7
            reach = lambda n: min(noise.snr(t, n, every, filter_plan["dither_px"], px, side) for noise, px, side in governing)
            if reach(high) < plan["goal"]["snr"]:
                continue
            for _ in range(60):
                middle = math.sqrt(low * high)
                low, high = (low, middle) if reach(middle) >= plan["goal"]["snr"] else (middle, high)
            best = min(best, high * math.exp(loss * t) * (t + between + settle / every))
    return best


def main():
    parser = argparse.ArgumentParser(description="recompute a plan from camera and night")
    for word in ("camera", "night", "plan"):
        parser.add_argument(word)
    words = parser.parse_args()
    with open(words.camera, "rb") as file:
        camera = tomllib.load(file)
    with open(words.night, "rb") as file:
        night = tomllib.load(file)
    with open(words.plan) as file:
        plan = json.load(file)
    mode = next(mode for mode in camera["modes"] if mode.get("gain_setting") == plan["gain_setting"])
    chain = Chain(night, mode["pixel_um"])
    cam = night.get("camera", {})
    cooled = cam.get("cooled", "sensor_c" in cam)
    ambient = night.get("site", {}).get("ambient_c", 8.5)
    sensor = cam.get("sensor_c", -10.0 if cooled else ambient + cam.get("rise_c", 8.0))
    goal = night.get("goal", {})
    patch = None if goal.get("pixel") else goal.get("patch_arcsec", 5.0)
    entries = night.get("filters") or [{"name": "luminance" if len(mode["planes"]) == 1 else "none"}]
    check = Check()
    # What the sky's turning and twilight do to the rates is checked elsewhere: there the plan's own are taken.
    moving = plan.get("night") and plan["night"]["target_up"] is not None
    from_plan = moving or (plan.get("night") and plan["night"]["twilight_mag_per_arcsec2"] is not None)
    check.same("sensor, K", sensor + 273.15, plan["sensor_c"] + 273.15)
    total = 0.0
    for entry, filter_plan in zip(entries, plan["filters"], strict=True):
        t, subs, every = filter_plan["sub_s"], filter_plan["subs_kept"], filter_plan["dither_every_subs"]
        governing, best_of_window = [], {}
        printed = {plane["plane"]: plane for plane in filter_plan["planes"]}
        for plane in mode["planes"]:
            rates = chain.rates(entry, plane.get("colour"))
            if rates is None:
                continue
            label = f"{filter_plan['name']} {plane['plane']}"
            theirs = printed[plane["plane"]]
            given = theirs["rates_e_per_s"]
            if from_plan:
                rates = given["target"], given["sky"]
            noise = PlaneNoise(night, mode, plane, rates, given["moon"], sensor, cooled)
            pixels = 1.0 if patch is None else (patch / chain.scale) ** 2 * plane.get("sampling", 1.0)
            side = max(1.0, math.sqrt(pixels / plane.get("sampling", 1.0)))
            for what, mine in (("target", noise.target), ("sky", noise.sky), ("dark", noise.dark)):
                check.same(f"{label} {what} e-/s", mine, theirs["rates_e_per_s"][what])
            snr = noise.snr(t, subs, every, filter_plan["dither_px"], pixels, side)
            check.same(f"{label} SNR", snr, theirs["snr"]["value"])
            for what, share in noise.shares(t, subs, every, filter_plan["dither_px"], pixels, side).items():
                if share > 0.01 or theirs["noise_share_percent"][what] > 0.01:
                    check.same(f"{label} {what} share", share, theirs["noise_share_percent"][what])
            if plan.get("night") and plan["night"]["moon_mag_per_arcsec2"] is not None:
                moon = chain.moon(entry, plane.get("colour"), plan["night"]["moon_mag_per_arcsec2"])
                check.same(f"{label} moon e-/s", moon, given["moon"])
            window = next(windows(entry, plane.get("colour"), chain.modified))[0]
            if noise.target > 0 and snr > best_of_window.get(window, (0.0,))[0]:
                best_of_window[window] = (snr, noise, pixels, side)
        governing = [rest for _, *rest in best_of_window.values()]
        loss = filter_plan["lost_subs_per_hour"] / 3600
        in_hand = goal.get("already_have_h", 0.0)
        if not in_hand:
            shot = math.ceil(subs * math.exp(loss * t) - 1e-9)
            check.same(f"{filter_plan['name']} subs to shoot", shot, filter_plan["subs_to_shoot"])
        shot = filter_plan["subs_to_shoot"]
        dithers = math.ceil(shot / every)
        wall = shot * (t + filter_plan["between_subs_s"]) + dithers * filter_plan["settle_s"]
        check.same(f"{filter_plan['name']} wall clock s", wall, filter_plan["wall_clock_s"])
        total += wall
        if plan["goal"]["kind"] == "snr" and not in_hand and len(entries) == 1:
            snr = min(noise.snr(t, subs, every, filter_plan["dither_px"], px, side) for noise, px, side in governing)
            if snr < plan["goal"]["snr"] * (1 - 1e-6):
                check.same("goal", snr, plan["goal"]["snr"], 1e-6)
            few = 2.0 / subs
            tolerance = OPTIMUM_TOLERANCE if filter_plan["sub_s"] >= filter_plan["sub_range_s"][0] else 0.11
            check.no_better("wall clock of the optimum s", least_time(governing, plan, night, filter_plan), wall, tolerance + few)
    check.same("wall clock s", total, plan["wall_clock_s"])
    sys.exit(1 if check.failed else 0)


if __name__ == "__main__":
    main()
