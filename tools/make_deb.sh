#!/usr/bin/env bash
# Makes the package for Debian from the archive of make_archive.sh: tools/make_deb.sh ARCHIVE.tar.gz DIR
#
# What goes where stands in Cargo.toml, [package.metadata.deb], in the words of cargo-deb, which makes the same package from
# a folder target/release/deb. Here dpkg-deb is enough, and nothing is built again.
set -euo pipefail
[ $# -eq 2 ] || { echo "usage: $0 ARCHIVE.tar.gz DIR" >&2; exit 2; }
archive=$(realpath "$1")
mkdir -p "$2"
out=$(realpath "$2")
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir "$work/from" "$work/root"
tar -xzf "$archive" -C "$work/from" --strip-components=1
version=$(sed -n 's/^version = "\(.*\)"/\1/p' Cargo.toml | head -n 1)
machine=$(dpkg --print-architecture)
# The system libraries that the program asks for, as the package manager knows them.
mkdir -p "$work/debian"
touch "$work/debian/control"
depends=$( (cd "$work" && dpkg-shlibdeps -O from/subwell 2>/dev/null | sed -n 's/^shlibs:Depends=//p') || true)
python3 - "$work" "$version" "$machine" "${depends:-libc6}" <<'END'
import gzip
import pathlib
import shutil
import sys
import tomllib

work, version, machine, depends = pathlib.Path(sys.argv[1]), *sys.argv[2:]
package = tomllib.loads(pathlib.Path("Cargo.toml").read_text(encoding="utf-8"))["package"]
deb = package["metadata"]["deb"]
for pattern, target, mode in deb["assets"]:
    found = sorted((work / "from").glob(pattern.removeprefix("target/release/deb/")))
    assert found, f"the archive lacks {pattern}"
    for source in found:
        place = work / "root" / (target + source.name if target.endswith("/") else target)
        place.parent.mkdir(parents=True, exist_ok=True)
        if "/man/" in target:
            # Debian keeps manual pages packed; the same input makes the same bytes.
            place = place.with_name(place.name + ".gz")
            place.write_bytes(gzip.compress(source.read_bytes(), 9, mtime=0))
        else:
            shutil.copyfile(source, place)
        place.chmod(int(mode, 8))
doc = work / "root/usr/share/doc/subwell"
licences = "".join((work / "from" / f"LICENSE-{name}").read_text(encoding="utf-8") for name in ("MIT", "APACHE"))
(doc / "copyright").write_text(
    f"{deb['copyright']}\nLicence: {package['license']}; what is built in: THIRD-PARTY.txt\n\n{licences}", encoding="utf-8"
)
size = sum(path.stat().st_size for path in (work / "root").rglob("*") if path.is_file()) // 1024
words = deb["extended-description"].strip().splitlines()
control = work / "root/DEBIAN/control"
control.parent.mkdir()
control.write_text(
    f"Package: subwell\nVersion: {version}\nArchitecture: {machine}\nMaintainer: {deb['maintainer']}\n"
    f"Installed-Size: {size}\nDepends: {depends}\nSection: {deb['section']}\nPriority: {deb['priority']}\n"
    f"Description: {package['description']}\n" + "".join(f" {line}\n" for line in words),
    encoding="utf-8",
)
END
dpkg-deb --build --root-owner-group "$work/root" "$out/subwell_${version}_$machine.deb" >/dev/null
ls "$out"/subwell_*.deb
