#!/usr/bin/env python3
"""Times whole commands side by side, in one sitting: the table in DEVELOPERS.md.

usage: benches/commands.py [--rounds 5] [--work FOLDER] [--hand-written SCRIPT --python PYTHON]

    cargo build --release && cargo build --release --example bare_reading

Makes 60 frames of 6000 x 4000 pixels with the simulator (once in the work folder: 3 GB plain, 1 GB tile-compressed),
then runs, in turn and as often as there are rounds:

- the bare reading of the same frames by the same FITS library on two threads (examples/bare_reading.rs);
- `subwell measure` with every detector on, whose profile must be the same bytes each time;
- a hand-written numpy measurement of the same frames, if one is given (SCRIPT FOLDER; `--python` says with which Python);
- the short commands.

Prints medians, their ratios, and the peak memory of the largest process. Only ratios travel from machine to machine.
"""
import argparse
import os
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SUBWELL = ROOT / "target/release/subwell"
BARE = ROOT / "target/release/examples/bare_reading"
WIDTH, HEIGHT, FRAMES = 6000, 4000, 60
FRAME_MB = WIDTH * HEIGHT * 2 / 1e6
SHORT_RUNS = 21


def frames(work, stored):
    folder = work / stored
    if folder.exists():
        return folder
    text = (ROOT / "sample-calibration/cooled-mono/sensor.toml").read_text()
    text = text.replace("width_px = 200", f"width_px = {WIDTH}").replace("height_px = 150", f"height_px = {HEIGHT}")
    sensor = work / "sensor.toml"
    sensor.write_text(text)
    half_made = work / f"{stored}.part"
    shutil.rmtree(half_made, ignore_errors=True)
    print(f"making {FRAMES} {stored} frames ...", flush=True)
    compress = ["--compress"] if stored == "tiles" else []
    subprocess.run([SUBWELL, "simulate", sensor, "--out", half_made, "--quiet", *compress], check=True, stdout=subprocess.DEVNULL)
    made = sum(1 for path in half_made.rglob("*.fits*"))
    if made != FRAMES:
        sys.exit(f"{made} frames where {FRAMES} are compared")
    half_made.rename(folder)
    return folder


def timed(command, cwd=None):
    """Seconds, and the peak memory in MB of the largest process."""
    begun = time.perf_counter()
    child = subprocess.Popen([str(word) for word in command], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, cwd=cwd)
    said = child.stderr.read()
    _, status, usage = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - begun
    if os.waitstatus_to_exitcode(status) != 0:
        sys.exit(f"{command}: {said.decode()}")
    return seconds, usage.ru_maxrss * 1024 / 1e6


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--work", type=Path, default=ROOT / "target/commands")
    parser.add_argument("--hand-written", type=Path)
    parser.add_argument("--python", default=sys.executable)
    options = parser.parse_args()
    work = options.work.resolve()
    work.mkdir(parents=True, exist_ok=True)

    seconds, memory, profiles = {}, {}, {}

    def run(name, command, cwd=None):
        spent, peak = timed(command, cwd)
        seconds.setdefault(name, []).append(spent)
        memory[name] = max(memory.get(name, 0.0), peak)

    folders = {stored: frames(work, stored) for stored in ("plain", "tiles")}
    for stored, folder in folders.items():
        # Once outside the comparison: the files come into the page cache, and this is the profile of an untimed run.
        profile = work / f"{stored}-untimed.toml"
        subprocess.run([SUBWELL, "measure", folder, "--out", profile, "--quiet", "--force"], check=True, stdout=subprocess.DEVNULL)
        profiles[stored] = profile.read_bytes()
    for round_ in range(options.rounds):
        for stored, folder in folders.items():
            profile = work / f"{stored}-timed.toml"
            run(f"bare reading, {stored}", [BARE, folder])
            run(f"measure, {stored}", [SUBWELL, "measure", folder, "--out", profile, "--quiet", "--force"])
            if profile.read_bytes() != profiles[stored]:
                sys.exit(f"{profile} is not what the untimed run wrote")
        if options.hand_written:
            run("hand-written numpy, plain", [options.python, options.hand_written, folders["plain"]])
        print(f"round {round_ + 1} of {options.rounds}", flush=True)

    desk = work / "desk"
    shutil.rmtree(desk, ignore_errors=True)
    shutil.copytree(ROOT / "sample-calibration", desk)
    for frames_of, profile in (("cooled-mono", "camera.toml"), ("uncooled-colour", "colour-camera.toml")):
        subprocess.run([SUBWELL, "measure", frames_of, "--out", profile, "--quiet"], check=True, cwd=desk, stdout=subprocess.DEVNULL)
    short = {
        "start-up (--version)": ["--version"],
        "plan, mono, dated": ["plan", "garden-night.toml"],
        "plan, colour, dated": ["plan", "garden-night-colour.toml"],
        "plan with its full map": ["plan", "garden-night.toml", "--report", "plan.html", "--force"],
        "year of cooling": ["cooling", "garden-night.toml"],
        "year of cooling against another camera": ["cooling", "garden-night-colour.toml", "--against", "garden-night.toml"],
        "compare": ["compare", "garden-night-colour.toml", "garden-night.toml"],
    }
    for _ in range(SHORT_RUNS):
        for name, words in short.items():
            run(name, [SUBWELL, *words], desk)

    print(f"\n{FRAMES} frames of {FRAME_MB:.0f} MB; medians")
    for name, spent in seconds.items():
        middle = statistics.median(spent)
        print(f"{name:40} {middle:9.4f} s  ({min(spent):.4f} to {max(spent):.4f})  {memory[name]:6.0f} MB")
    ratio = lambda above, below: statistics.median(seconds[above]) / statistics.median(seconds[below])
    print()
    for stored in folders:
        print(f"rate of measure over bare reading, {stored}: {ratio(f'bare reading, {stored}', f'measure, {stored}'):.2f}")
    if options.hand_written:
        print(f"hand-written numpy over measure: {ratio('hand-written numpy, plain', 'measure, plain'):.1f}")
    peak = max(memory[f"measure, {stored}"] for stored in folders)
    print(f"peak memory of measure: {peak:.0f} MB; 8 frames and 200 MB are {8 * FRAME_MB + 200:.0f} MB")


main()
