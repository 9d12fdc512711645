#!/usr/bin/env python3
"""Times whole commands side by side, in one sitting: the table in benches/README.md.

usage: benches/commands.py [--rounds 5] [--work FOLDER] [--hand-written SCRIPT --python PYTHON]

    cargo build --release && cargo build --release --example bare_reading

Makes 60 frames of 6000 x 4000 pixels with the simulator (once in the work folder: 3 GB plain, 1 GB tile-compressed, 3 GB
of camera raw with the same pixels), then runs, in turn and as often as there are rounds:

- the bare reading of the same frames by the same FITS library on two threads (examples/bare_reading.rs);
- `subwell measure` with every detector on, whose profile must be the same bytes each time; of camera raw files too (DNG,
  not compressed, with a colour array: four planes), which the FITS library cannot read;
- a hand-written numpy measurement of the same frames, if one is given (SCRIPT FOLDER; `--python` says with which Python);
- the short commands.

Prints medians, their ratios, and the peak memory of the largest process. Only ratios travel from machine to machine.
"""
import argparse
import os
import shutil
import statistics
import struct
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


FLIPPED = bytes(value ^ 0x80 for value in range(256))


def counts(data):
    """The counts of a FITS image (big-endian, less 32768) as little-endian bytes."""
    turned = bytearray(len(data))
    turned[0::2], turned[1::2] = data[1::2], data[0::2].translate(FLIPPED)
    return turned


def cards(header):
    """The values of a FITS header by their names."""
    lines = (header[at : at + 80].decode() for at in range(0, len(header), 80))
    return {line[:8].strip(): line[10:].split("/")[0].strip().strip("'").strip() for line in lines if line[8:9] == "="}


def dng(data, exposure):
    """The smallest DNG around little-endian counts. Tag numbers: TIFF 6.0, Exif and DNG specification, from memory."""
    start = 1024
    name = b"Invented One\0\0"
    entries = [  # tag, type (1 byte, 2 text, 3 short, 4 long), number, value or place
        (254, 4, 1, 0), (256, 4, 1, WIDTH), (257, 4, 1, HEIGHT), (258, 3, 1, 16), (259, 3, 1, 1), (262, 3, 1, 32803),
        (271, 2, 14, 700), (272, 2, 14, 700), (273, 4, 1, start), (277, 3, 1, 1), (278, 4, 1, HEIGHT), (279, 4, 1, len(data)),
        (33421, 3, 2, 2 | 2 << 16), (33422, 1, 4, 0 | 1 << 8 | 1 << 16 | 2 << 24), (34665, 4, 1, 800), (50706, 1, 4, 1 | 4 << 8),
        (50708, 2, 14, 700), (50714, 3, 1, 0), (50717, 4, 1, 16383),
    ]
    directory = lambda entries: struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", *entry) for entry in entries) + bytes(4)
    head = bytearray(start)
    put = lambda at, part: head.__setitem__(slice(at, at + len(part)), part)
    put(0, b"II*\0" + struct.pack("<I", 8) + directory(entries))
    put(700, name)
    put(800, directory([(33434, 5, 1, 900), (34855, 3, 1, 800)]))
    put(900, struct.pack("<II", round(exposure * 1e6), 1_000_000))
    return bytes(head) + bytes(data)


def raw_frames(work, plain):
    """The pixels of the plain frames in camera raw files; what those do not say stands in a table beside them."""
    folder = work / "raw"
    if folder.exists():
        return folder
    half_made = work / "raw.part"
    shutil.rmtree(half_made, ignore_errors=True)
    half_made.mkdir()
    print(f"making {FRAMES} raw frames ...", flush=True)
    lines = ["file,kind,exposure_s,sensor_c,gain_setting"]
    for path in sorted(plain.rglob("*.fits")):
        stored = path.read_bytes()
        end = next(at + 80 for at in range(0, len(stored), 80) if stored[at : at + 8] == b"END     ")
        said = cards(stored[:end])
        begin = -(-end // 2880) * 2880
        file = path.with_suffix(".dng").name
        (half_made / file).write_bytes(dng(counts(stored[begin : begin + 2 * WIDTH * HEIGHT]), float(said["EXPTIME"])))
        lines.append(f"{file},{said['IMAGETYP'].split()[0].lower()},{said['EXPTIME']},{said['CCD-TEMP']},800")
    (half_made / "sidecar.csv").write_text("\n".join(lines) + "\n")
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
    read_by_both = list(folders)
    folders["raw"] = raw_frames(work, folders["plain"])
    for stored, folder in folders.items():
        # Once outside the comparison: the files come into the page cache, and this is the profile of an untimed run.
        profile = work / f"{stored}-untimed.toml"
        subprocess.run([SUBWELL, "measure", folder, "--out", profile, "--quiet", "--force"], check=True, stdout=subprocess.DEVNULL)
        profiles[stored] = profile.read_bytes()
    for round_ in range(options.rounds):
        for stored, folder in folders.items():
            profile = work / f"{stored}-timed.toml"
            if stored in read_by_both:
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
    for stored in read_by_both:
        print(f"rate of measure over bare reading, {stored}: {ratio(f'bare reading, {stored}', f'measure, {stored}'):.2f}")
    if options.hand_written:
        print(f"hand-written numpy over measure: {ratio('hand-written numpy, plain', 'measure, plain'):.1f}")
    peak = max(memory[f"measure, {stored}"] for stored in folders)
    print(f"peak memory of measure: {peak:.0f} MB; 8 frames and 200 MB are {8 * FRAME_MB + 200:.0f} MB")


if __name__ == "__main__":
    main()
