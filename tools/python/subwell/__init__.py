"""What the program `subwell` answers, as typed Python: every call runs the program with `--json`.

Nothing is computed here. Numbers that the data do not determine are `None`; what is not named by a field is in `document`.

    >>> import subwell
    >>> camera = subwell.measure("my-frames", out="camera.toml")
    >>> camera.modes[0].planes[0].read_noise_e
    Estimate(value=1.6572761791340078, uncertainty=0.007305052752744488)
    >>> subwell.plan("night.toml").filters[0].sub_s
    45.0
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sysconfig
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Union

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Camera", "Caveat", "Estimate", "FilterPlan", "Mode", "PhotonTransfer", "Plan", "Plane", "Rejected", "SubwellError",
    "ask", "measure", "plan", "program",
]

Place = Union[str, "os.PathLike[str]"]
Document = Mapping[str, Any]


class SubwellError(Exception):
    """The program could not answer: a fixed word, what is the matter, and what to do."""

    def __init__(self, code: str, message: str, hint: str) -> None:
        super().__init__(f"{message} ({hint})" if hint else message)
        self.code = code
        self.message = message
        self.hint = hint


@dataclass(frozen=True)
class Estimate:
    """A measured number and one standard uncertainty of it."""

    value: float
    uncertainty: float


@dataclass(frozen=True)
class Caveat:
    """What an answer rests on, or what was left out of it."""

    code: str
    message: str
    hint: str
    about: str


@dataclass(frozen=True)
class Rejected:
    """A file that was not taken, and why."""

    file: str
    code: str
    reason: str


@dataclass(frozen=True)
class PhotonTransfer:
    """The points of a plane's transfer curve, offset removed, variance as measured."""

    mean_dn: NDArray[np.float64]
    variance_dn2: NDArray[np.float64]
    exposure_s: NDArray[np.float64]
    used: NDArray[np.bool_]


@dataclass(frozen=True)
class Plane:
    """One colour of a camera mode, or all pixels of a monochrome one."""

    name: str
    colour: str | None
    gain_e_per_dn: Estimate | None
    read_noise_e: Estimate | None
    saturation_e: Estimate | None
    dynamic_range_stops: float | None
    photon_transfer: PhotonTransfer
    document: Document = field(repr=False)


@dataclass(frozen=True)
class Mode:
    """One way of reading a camera."""

    gain_setting: float | None
    offset_setting: float | None
    width_px: int
    height_px: int
    reference_sensor_c: float | None
    planes: tuple[Plane, ...]
    document: Document = field(repr=False)


@dataclass(frozen=True)
class Camera:
    """A measured camera."""

    name: str | None
    modes: tuple[Mode, ...]
    rejected: tuple[Rejected, ...]
    caveats: tuple[Caveat, ...]
    document: Document = field(repr=False)


@dataclass(frozen=True)
class FilterPlan:
    """What to shoot through one filter."""

    name: str
    sub_s: float
    sub_range_s: tuple[float, float] | None
    subs_to_shoot: int
    dither_every_subs: int
    wall_clock_s: float
    snr: Estimate | None
    document: Document = field(repr=False)


@dataclass(frozen=True)
class Plan:
    """A planned night, or several."""

    filters: tuple[FilterPlan, ...]
    gain_setting: float | None
    sensor_c: float | None
    wall_clock_s: float
    wall_clock_range_s: tuple[float, float] | None
    darks: int
    flats: int
    biases: int
    caveats: tuple[Caveat, ...]
    document: Document = field(repr=False)


def program() -> str:
    """The path of the program: the one of this Python environment first, then the one of the system."""
    name = "subwell.exe" if os.name == "nt" else "subwell"
    own = Path(sysconfig.get_path("scripts")) / name
    found = str(own) if own.is_file() else shutil.which(name)
    if found is None:
        raise SubwellError("no-program", "the program subwell is not installed", "pip install subwell, or add it to PATH")
    return found


def ask(*words: Place | float) -> dict[str, Any]:
    """Runs the program with these words and `--json`; its whole document."""
    command = [program(), *(os.fspath(word) if isinstance(word, os.PathLike) else str(word) for word in words), "--json"]
    run = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False)
    try:
        document = json.loads(run.stdout.decode("utf-8"))
    except ValueError:
        said = run.stderr.decode("utf-8", "replace").strip()
        raise SubwellError("broken", f"the program ended with code {run.returncode}: {said}", "") from None
    if document.get("format") == "subwell.error":
        raise SubwellError(document["code"], document["message"], document.get("hint") or "")
    return dict(document)


def measure(*folders: Place, **options: Place | float | bool) -> Camera:
    """Measures a camera from folders of bias, flat and dark frames.

    Options are those of `subwell measure` with underscores: `out="camera.toml"`, `force=True`, `cfa="RGGB"`.
    """
    return _camera(ask("measure", *folders, *_words(options)))


def plan(night: Place, **options: Place | float | bool) -> Plan:
    """Plans the night in a file; options are those of `subwell plan` with underscores."""
    return _plan(ask("plan", night, *_words(options)))


def _words(options: Mapping[str, Place | float | bool]) -> list[Place | float]:
    words: list[Place | float] = []
    for name, value in options.items():
        option = "--" + name.replace("_", "-")
        if value is True:
            words.append(option)
        elif value is not False and value is not None:
            # In one word, so that a negative number is no option.
            words.append(f"{option}={os.fspath(value) if isinstance(value, os.PathLike) else value}")
    return words


def _estimate(found: Document | None) -> Estimate | None:
    return None if found is None else Estimate(found["value"], found["uncertainty"])


def _range(found: Sequence[float] | None) -> tuple[float, float] | None:
    return None if found is None else (found[0], found[1])


def _caveats(document: Document) -> tuple[Caveat, ...]:
    return tuple(Caveat(one["code"], one["message"], one["hint"], one["about"]) for one in document["caveats"])


def _camera(document: Document) -> Camera:
    return Camera(
        name=document["camera"],
        modes=tuple(_mode(mode) for mode in document["modes"]),
        rejected=tuple(Rejected(one["file"], one["code"], one["reason"]) for one in document["rejected"]),
        caveats=_caveats(document),
        document=document,
    )


def _mode(mode: Document) -> Mode:
    return Mode(
        gain_setting=mode["gain_setting"],
        offset_setting=mode["offset_setting"],
        width_px=mode["width_px"],
        height_px=mode["height_px"],
        reference_sensor_c=mode["reference_sensor_c"],
        planes=tuple(_plane(plane, mode) for plane in mode["planes"]),
        document=mode,
    )


def _plane(plane: Document, mode: Document) -> Plane:
    return Plane(
        name=plane["plane"],
        colour=plane["colour"],
        gain_e_per_dn=_estimate(plane["gain_e_per_dn"]),
        read_noise_e=_estimate(plane["read_noise_e"]),
        saturation_e=_estimate(plane["saturation_e"]),
        dynamic_range_stops=plane["dynamic_range_stops"],
        photon_transfer=_photon_transfer([one for one in mode["photon_transfer"] if one["plane"] == plane["plane"]]),
        document=plane,
    )


def _photon_transfer(points: Sequence[Document]) -> PhotonTransfer:
    def column(name: str) -> NDArray[np.float64]:
        return np.array([point[name] for point in points], dtype=np.float64)

    used = np.array([point["used"] for point in points], dtype=np.bool_)
    return PhotonTransfer(column("mean_dn"), column("variance_dn2"), column("exposure_s"), used)


def _plan(document: Document) -> Plan:
    return Plan(
        filters=tuple(_filter(one) for one in document["filters"]),
        gain_setting=document["gain_setting"],
        sensor_c=document["sensor_c"],
        wall_clock_s=document["wall_clock_s"],
        wall_clock_range_s=_range(document["wall_clock_range_s"]),
        darks=document["darks"],
        flats=document["flats"],
        biases=document["biases"],
        caveats=_caveats(document),
        document=document,
    )


def _filter(found: Document) -> FilterPlan:
    # That of the plane with the least.
    known = [plane["snr"] for plane in found["planes"] if plane["snr"] is not None]
    worst = min(known, key=lambda snr: float(snr["value"]), default=None)
    return FilterPlan(
        name=found["name"],
        sub_s=found["sub_s"],
        sub_range_s=_range(found["sub_range_s"]),
        subs_to_shoot=found["subs_to_shoot"],
        dither_every_subs=found["dither_every_subs"],
        wall_clock_s=found["wall_clock_s"],
        snr=_estimate(worst),
        document=found,
    )
