#!/usr/bin/env python3
"""Licences and doubles among what is built into the program, by the rules of deny.toml, without network.

    python3 tools/check_dependencies.py              checks
    python3 tools/check_dependencies.py --list FILE [TARGET]  writes the third-party list of the archive, with licence
                                                              texts, for this system or another
    python3 tools/check_dependencies.py --source CRATE  says where the source of a crate lies, as it came
"""

import json
import pathlib
import re
import subprocess
import sys
import tomllib

WINDOWS = "x86_64-pc-windows-gnu"
ROOT = pathlib.Path(__file__).resolve().parent.parent


def metadata():
    command = ["cargo", "metadata", "--format-version", "1", "--all-features", "--locked"]
    return json.loads(subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE).stdout)


def shipped(data, target=None):
    """What the program is built from: its dependencies and what builds them, not what only tests use.

    `cargo tree` knows which optional crates are truly built; `cargo metadata` knows their licences.
    """
    command = ["cargo", "tree", "--locked", "--all-features", "--edges", "normal,build", "--prefix", "none"]
    command += ["--target", target] if target else []
    tree = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout
    found = {tuple(line.split()[:2]) for line in tree.splitlines() if line.strip()}
    packages = [package for package in data["packages"] if (package["name"], "v" + package["version"]) in found]
    assert len(packages) == len(found), f"{len(packages)} crates described of {len(found)}"
    return sorted(packages, key=lambda package: (package["name"], package["version"]))


def allowed(expression, licences):
    """Whether an SPDX expression can be met with the licences; `A/B` is an old way to write `A OR B`."""
    words = re.findall(r"\(|\)|[^\s()]+", expression.replace("/", " OR ").replace(" WITH ", "\x00"))
    words = [word.replace("\x00", " WITH ") for word in words]
    place = 0

    def one():
        nonlocal place
        word = words[place]
        place += 1
        if word == "(":
            value = either()
            place += 1
            return value
        return word in licences

    def both():
        nonlocal place
        value = one()
        while place < len(words) and words[place] == "AND":
            place += 1
            value = one() and value
        return value

    def either():
        nonlocal place
        value = both()
        while place < len(words) and words[place] == "OR":
            place += 1
            value = both() or value
        return value

    return either()


def wrong(packages, rules):
    """What breaks the rules, a line each."""
    licences = set(rules["licenses"]["allow"])
    extra = {one["crate"]: set(one["allow"]) for one in rules["licenses"].get("exceptions", [])}
    for package in packages:
        name = f"{package['name']} {package['version']}"
        licence = package["license"]
        if not licence:
            yield f"{name} names no licence"
        elif not allowed(licence, licences | extra.get(package["name"], set())):
            yield f"{name}: licence {licence} is not allowed"
        if package["source"] and not package["source"].startswith("registry+"):
            yield f"{name} is from {package['source']}, not from the registry"
    banned = {one["crate"] for one in rules["bans"].get("deny", [])}
    versions = {}
    for package in packages:
        versions.setdefault(package["name"], []).append(package["version"])
        if package["name"] in banned:
            yield f"{package['name']} is banned"
    # As cargo-deny has it: all but the versions named here have to be one.
    skipped = [one["crate"].split("@") for one in rules["bans"].get("skip", [])]
    for name, found in versions.items():
        left = [version for version in found if not any(one[0] == name and one[1:] in ([], [version]) for one in skipped)]
        if len(left) > 1:
            yield f"{name} is built {len(left)} times: {', '.join(left)}"
    # What only the tests are built from stands in the lock file.
    locked = {(package["name"], package["version"]) for package in tomllib.loads((ROOT / "Cargo.lock").read_text())["package"]}
    for one in skipped:
        if not any(name == one[0] and one[1:] in ([], [version]) for name, version in locked):
            yield f"{'@'.join(one)} is skipped in deny.toml but not there any more"


def older_rust(packages, floor):
    """Who wants a newer Rust than is promised."""
    number = lambda text: tuple(int(part) for part in (text.split(".") + ["0", "0"])[:3])
    for package in packages:
        if package["rust_version"] and number(package["rust_version"]) > number(floor):
            yield f"{package['name']} {package['version']} wants Rust {package['rust_version']}, Cargo.toml says {floor}"


def runtime_texts():
    """What the C compiler for Windows adds to a program of its own: start-up code and threads."""
    path = pathlib.Path("/usr/share/doc/mingw-w64-x86-64-dev/copyright")
    return {"mingw-w64 runtime": path.read_text(encoding="utf-8", errors="replace").strip()} if path.is_file() else {}


def licence_texts(package):
    folder = pathlib.Path(package["manifest_path"]).parent
    names = re.compile(r"(licen[cs]e|copying|notice|copyright|unlicense)", re.IGNORECASE)
    # The bundled C library lies deeper than its crate's own texts.
    inside = [folder, *folder.glob("ext/*/")]
    return [path for place in inside for path in sorted(place.iterdir()) if path.is_file() and names.match(path.name)]


def write_list(packages, file, others_of_target):
    """The list, then each different text once with the crates that it belongs to."""
    others = [package for package in packages if package["source"]]
    texts = {}
    lines = ["Third-party crates built into subwell, with the licence that each names", ""]
    for package in others:
        lines.append(f"{package['name']} {package['version']}: {package['license']}  {package['repository'] or ''}".rstrip())
        found = licence_texts(package)
        if not found:
            lines.append(f"    (its crate holds no text; authors: {', '.join(package['authors']) or 'not named'})")
        for path in found:
            text = path.read_text(encoding="utf-8", errors="replace").strip()
            texts.setdefault(text, []).append(f"{package['name']} {package['version']} ({path.name})")
    for name, text in others_of_target.items():
        texts.setdefault(text, []).append(name)
    for text, names in texts.items():
        lines += ["", "=" * 80, ", ".join(names), "=" * 80, "", text]
    pathlib.Path(file).write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{len(others)} crates, {len(texts)} different texts written to {file}")


def archive_of(packages, name):
    """The crate as the registry gave it, if it is built in: whoever links it again needs its source."""
    for package in packages:
        if package["name"] == name:
            source = pathlib.Path(package["manifest_path"]).parent
            cache = source.parent.parent.parent / "cache" / source.parent.name / f"{source.name}.crate"
            assert cache.is_file(), cache
            return cache
    raise SystemExit(f"{name} is not built in")


def self_check():
    """The rules see what they are for."""
    ok = {"MIT", "Apache-2.0"}
    assert allowed("MIT OR GPL-3.0", ok) and allowed("GPL-3.0/MIT", ok) and allowed("(MIT OR X) AND Apache-2.0", ok)
    assert not allowed("MIT AND GPL-3.0", ok) and not allowed("Apache-2.0 WITH X", ok) and not allowed("GPL-3.0", ok)
    package = {"license": "GPL-3.0", "source": "git+x", "rust_version": "1.99"}
    planted = [package | {"name": "a", "version": "1.0.0"}, package | {"name": "a", "version": "2.0.0"}]
    rules = {"licenses": {"allow": ["MIT"]}, "bans": {"deny": [{"crate": "a"}], "skip": [{"crate": "b@1.0.0"}]}}
    said = "\n".join(wrong(planted, rules))
    assert all(word in said for word in ["not allowed", "registry", "banned", "2 times", "b@1.0.0"]), said
    assert list(older_rust(planted, "1.89"))


def main():
    self_check()
    data = metadata()
    packages = shipped(data)
    if sys.argv[1:2] == ["--list"]:
        target = sys.argv[3] if len(sys.argv) > 3 else None
        windows = target is not None and "windows" in target
        write_list(shipped(data, target), sys.argv[2], runtime_texts() if windows else {})
        return
    if sys.argv[1:2] == ["--source"]:
        print(archive_of(packages, sys.argv[2]))
        return
    rules = tomllib.loads((ROOT / "deny.toml").read_text())
    floor = next(package["rust_version"] for package in data["packages"] if package["id"] == data["resolve"]["root"])
    across = shipped(data, WINDOWS)
    found = sorted({line for those in (packages, across) for line in [*wrong(those, rules), *older_rust(those, floor)]})
    for line in found:
        print(line, file=sys.stderr)
    if found:
        sys.exit(1)
    print(f"{len(packages)} crates here, {len(across)} for Windows: licences, sources and versions in order, none wants a Rust newer than {floor}")


if __name__ == "__main__":
    main()
