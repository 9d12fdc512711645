"""Tries the installed module on the samples: `python try_wheel.py SAMPLES FOLDER`, in an empty environment.

What the module says is held against the program's own document, and mistakes against the module's error.
"""

import pathlib
import shutil
import sys

import numpy as np
import subwell

samples, folder = map(pathlib.Path, sys.argv[1:3])
assert pathlib.Path(subwell.program()).parent == pathlib.Path(sys.executable).parent, subwell.program()
camera = subwell.measure(samples / "cooled-mono", out=folder / "camera.toml", force=True)
mode = camera.modes[0]
plane = mode.planes[0]
assert (camera.name, mode.gain_setting, plane.name) == ("Heron M", 100.0, "mono")
document = subwell.ask("measure", samples / "cooled-mono")
assert camera.document == document
told = document["modes"][0]["planes"][0]
assert plane.gain_e_per_dn == subwell.Estimate(told["gain_e_per_dn"]["value"], told["gain_e_per_dn"]["uncertainty"])
points = plane.photon_transfer
assert points.mean_dn.dtype == np.float64 and points.used.dtype == np.bool_
assert len(points.mean_dn) == len(document["modes"][0]["photon_transfer"]) > 5
# Numbers of one's own from the arrays: variance rises with the mean by one DN per gain (EMVA 1288's method).
slope = np.polyfit(points.mean_dn[points.used], points.variance_dn2[points.used], 1)[0]
assert abs(slope * plane.gain_e_per_dn.value - 1.0) < 0.05, slope

shutil.copy(samples / "garden-night.toml", folder)
plan = subwell.plan(folder / "garden-night.toml")
assert plan.document == subwell.ask("plan", folder / "garden-night.toml")
first = plan.filters[0]
assert first.sub_range_s[0] <= first.sub_s <= first.sub_range_s[1] and first.snr is not None
try:
    subwell.plan(folder / "no such night.toml")
except subwell.SubwellError as error:
    assert "no such night.toml" in error.message and error.hint, error
else:
    raise AssertionError("a missing night was planned")
print(f"{first.name}: {first.subs_to_shoot} subs of {first.sub_s} s, by subwell {document['program']} and Python")
