"""Writes the DNG file of this folder, and prints what an independent reader finds in them.

Run once, in a throw-away environment; the file is kept, this is not run by the tests:

    python3 -m venv venv && venv/bin/pip install numpy==2.4.6 pidng==4.0.9 rawpy==0.28.0
    venv/bin/python tests/data/make_dng.py tests/data

The writer is pidng 4.0.9, the reader rawpy 0.28.0 (LibRaw 0.22): `rawpy.imread(...)`, then `raw_image` for the
counts and `raw_colors` with `color_desc` for their colours, both of the whole sensor; the active area is cut out here
(`raw_image_visible` leaves out one row more, to have an even number of them).
Four colour planes with four gains, read noises and offsets; the masked border stands at the first level.
"""

import sys

import numpy as np
import rawpy
from pidng.core import RAW2DNG
from pidng.defs import CFAPattern, PhotometricInterpretation
from pidng.dng import DNGTags, Tag

WIDTH, HEIGHT = 96, 64
TOP, LEFT = 3, 6  # odd and even: the pattern starts at the corner of the active area


def counts(bits):
    random = np.random.default_rng(7)
    image = np.empty((HEIGHT, WIDTH))
    for row in (0, 1):
        for column in (0, 1):
            place = 2 * row + column
            gain, noise, offset = (0.5, 0.8, 1.1, 1.7)[place], (2.0, 3.0, 4.0, 6.0)[place], 128 + 16 * place
            shape = image[row::2, column::2].shape
            light = random.poisson(900.0 + 100 * place, shape)
            light[: (TOP + 1 - row) // 2, :] = 0
            light[:, : (LEFT + 1 - column) // 2] = 0
            image[row::2, column::2] = offset + light / gain + random.normal(0, noise, shape) / gain
    return np.clip(np.rint(image), 0, 2**bits - 1).astype(np.uint16)


def write(folder, name, bits, pattern):
    tags = DNGTags()
    tags.set(Tag.ImageWidth, WIDTH)
    tags.set(Tag.ImageLength, HEIGHT)
    tags.set(Tag.TileWidth, WIDTH)
    tags.set(Tag.TileLength, HEIGHT)
    tags.set(Tag.Orientation, 1)
    tags.set(Tag.PhotometricInterpretation, PhotometricInterpretation.Color_Filter_Array)
    tags.set(Tag.SamplesPerPixel, 1)
    tags.set(Tag.BitsPerSample, bits)
    tags.set(Tag.CFARepeatPatternDim, [2, 2])
    tags.set(Tag.CFAPattern, pattern)
    tags.set(Tag.ActiveArea, [TOP, LEFT, HEIGHT, WIDTH])
    tags.set(Tag.BlackLevel, 152)
    tags.set(Tag.WhiteLevel, 2**bits - 1)
    tags.set(Tag.ColorMatrix1, [[1, 1], [0, 1], [0, 1], [0, 1], [1, 1], [0, 1], [0, 1], [0, 1], [1, 1]])
    tags.set(Tag.CalibrationIlluminant1, 21)
    tags.set(Tag.AsShotNeutral, [[1, 1], [1, 1], [1, 1]])
    tags.set(Tag.ExposureTime, [[1, 60]])
    tags.set(Tag.ShutterSpeedValue, [[6, 1]])
    tags.set(Tag.PhotographicSensitivity, [800])
    tags.set(Tag.DateTimeOriginal, "2026:01:02 20:00:00")
    tags.set(Tag.Make, "Invented")
    tags.set(Tag.Model, "Invented Two")
    writer = RAW2DNG()
    writer.options(tags, path=folder + "/", compress=False)
    writer.convert(counts(bits), filename=name)
    with rawpy.imread(f"{folder}/{name}.dng") as raw:
        visible, colours = raw.raw_image[TOP:, LEFT:], raw.raw_colors[TOP:, LEFT:]
        print(name, visible.shape, raw.color_desc, "sum", int(visible.astype(np.int64).sum()))
        for row in (0, 1):
            for column in (0, 1):
                plane = visible[row::2, column::2]
                colour = chr(raw.color_desc[colours[row, column]])
                print(f"  r{row}c{column} {colour} pixels {plane.size} sum {int(plane.astype(np.int64).sum())}"
                      f" mean {plane.mean():.6f} min {plane.min()} max {plane.max()}")


if __name__ == "__main__":
    write(sys.argv[1], "packed-12", 12, CFAPattern.GRBG)
