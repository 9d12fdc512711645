"""Writes the DNG files of this folder, and prints what an independent reader finds in them.

Run once, in a throw-away environment; the files are kept, this is not run by the tests:

    python3.9 -m venv venv && venv/bin/pip install numpy==2.0.2 pidng==4.0.9 rawpy==0.27.1
    venv/bin/python tests/data/make_dng.py tests/data

The writer is pidng 4.0.9 (its compressor runs on Python 3.9 and older only), the reader rawpy 0.27.1, and for the values
in the tests rawpy 0.28.0 on Python 3.11 as well: `rawpy.imread(...)`, then `raw_image` for the
counts and `raw_colors` with `color_desc` for their colours, both of the whole sensor; the active area is cut out here
(`raw_image_visible` leaves out one row more, to have an even number of them).
Four colour planes with four gains, read noises and offsets; the masked border stands at the first level.
`packed-12.dng` has 12 bits packed, `lossless-14.dng` lossless JPEG, 14 bits, a noise profile and its rows stored the
other way round.

A whole ramp of that camera, too large to be kept (44 frames, 14 MB), and the plane means that rawpy finds in it:

    venv/bin/python tests/data/make_dng.py --ramp /tmp/ramp
    SUBWELL_DNG_RAMP=/tmp/ramp cargo test --test frames another_writer -- --ignored
"""

import os
import sys

import numpy as np
import rawpy
from pidng.core import RAW2DNG
from pidng.defs import CFAPattern, PhotometricInterpretation
from pidng.dng import DNGTags, Tag

TOP, LEFT = 3, 6  # odd and even: the pattern starts at the corner of the active area
GAINS, NOISES = (0.5, 0.8, 1.1, 1.7), (2.0, 3.0, 4.0, 6.0)  # by place on the sensor; offsets base + step * place


def counts(random, width, height, bits, light_e, base, step):
    image = np.empty((height, width))
    for row in (0, 1):
        for column in (0, 1):
            place = 2 * row + column
            shape = image[row::2, column::2].shape
            light = random.poisson(light_e + step * 6.25 * place * (light_e > 0), shape)
            light[: (TOP + 1 - row) // 2, :] = 0
            light[:, : (LEFT + 1 - column) // 2] = 0
            noise = random.normal(0, NOISES[place], shape)
            image[row::2, column::2] = base + step * place + light / GAINS[place] + noise / GAINS[place]
    return np.clip(np.rint(image), 0, 2**bits - 1).astype(np.uint16)


def write(folder, name, image, bits, pattern, area, compress=False, profile=None, time=(1, 60), apex=6, date="20:00:00"):
    height, width = image.shape
    tags = DNGTags()
    tags.set(Tag.ImageWidth, width)
    tags.set(Tag.ImageLength, height)
    tags.set(Tag.TileWidth, width)
    tags.set(Tag.TileLength, height)
    tags.set(Tag.Orientation, 1)
    tags.set(Tag.PhotometricInterpretation, PhotometricInterpretation.Color_Filter_Array)
    tags.set(Tag.SamplesPerPixel, 1)
    tags.set(Tag.BitsPerSample, bits)
    tags.set(Tag.CFARepeatPatternDim, [2, 2])
    tags.set(Tag.CFAPattern, pattern)
    tags.set(Tag.ActiveArea, area)
    tags.set(Tag.BlackLevel, 152)
    tags.set(Tag.WhiteLevel, 2**bits - 1)
    tags.set(Tag.ColorMatrix1, [[1, 1], [0, 1], [0, 1], [0, 1], [1, 1], [0, 1], [0, 1], [0, 1], [1, 1]])
    tags.set(Tag.CalibrationIlluminant1, 21)
    tags.set(Tag.AsShotNeutral, [[1, 1], [1, 1], [1, 1]])
    tags.set(Tag.ExposureTime, [list(time)])
    if apex is not None:
        tags.set(Tag.ShutterSpeedValue, [[apex, 1]])
    tags.set(Tag.PhotographicSensitivity, [800])
    tags.set(Tag.DateTimeOriginal, f"2026:01:02 {date}")
    tags.set(Tag.Make, "Invented")
    tags.set(Tag.Model, "Invented Two")
    if profile:
        tags.set(Tag.NoiseProfile, profile)
    writer = RAW2DNG()
    writer.options(tags, path=folder + "/", compress=compress)
    writer.convert(np.ascontiguousarray(image), filename=name)


def tell(folder, name, area):
    top, left, bottom, right = area
    with rawpy.imread(f"{folder}/{name}.dng") as raw:
        visible, colours = raw.raw_image[top:bottom, left:right], raw.raw_colors[top:bottom, left:right]
        print(name, visible.shape, raw.color_desc, "sum", int(visible.astype(np.int64).sum()))
        for row in (0, 1):
            for column in (0, 1):
                plane = visible[row::2, column::2]
                colour = chr(raw.color_desc[colours[row, column]])
                print(f"  r{row}c{column} {colour} pixels {plane.size} sum {int(plane.astype(np.int64).sum())}"
                      f" mean {plane.mean():.6f} min {plane.min()} max {plane.max()}")


def kept(folder):
    width, height = 96, 64
    area = [TOP, LEFT, height, width]
    image = counts(np.random.default_rng(7), width, height, 12, 900.0, 128, 16)
    write(folder, "packed-12", image, 12, CFAPattern.GRBG, area)
    tell(folder, "packed-12", area)
    # 60 rows, the last one of the sensor left out: the cell's second row comes first.
    flipped = [1, LEFT, height - TOP, width]
    image = counts(np.random.default_rng(8), width, height, 14, 900.0, 128, 16)[::-1]
    # Three pairs: red, green, blue; 0.8 e-/DN and 3 e-, 1.1 and 4, 1.7 and 6 over 16383 - 152.
    span = 16383 - 152
    profile = [value for gain, noise in zip(GAINS[1:], NOISES[1:])
               for value in (1 / (gain * span), (noise / (gain * span)) ** 2)]
    write(folder, "lossless-14", image, 14, CFAPattern.BGGR, flipped, compress=True, profile=profile)
    tell(folder, "lossless-14", flipped)


def ramp(folder):
    width, height = 646, 484  # the compressor loses the last of an odd number of rows
    area, random, number = [TOP, LEFT, height, width], np.random.default_rng(9), 0
    steps = [0.0] * 4 + [0.02, 0.05, 0.1, 0.15, 0.22, 0.3, 0.4, 0.5, 0.6]
    for step, share in enumerate(steps):
        kind = "flats" if share else "bias"
        os.makedirs(f"{folder}/{kind}", exist_ok=True)
        for again in range(4 if share else 2):
            image = counts(random, width, height, 14, 7000 * share, 500, 20)
            time, name = ((round(100 * share), 64) if share else (1, 4096)), f"IMG_{step:02}{again}"
            write(f"{folder}/{kind}", name, image, 14, CFAPattern.GRBG, area, compress=True, time=time, apex=None,
                  date=f"20:{number // 60:02}:{number % 60:02}")
            number += 1
    tell(f"{folder}/flats", "IMG_120", area)


if __name__ == "__main__":
    if sys.argv[1] == "--ramp":
        ramp(sys.argv[2])
    else:
        kept(sys.argv[1])
