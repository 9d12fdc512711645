#!/usr/bin/env bash
# Builds the planner for phones: planner.wasm.gz, which the next build of the program takes in for `subwell page NIGHT --file`.
set -euo pipefail
cd "$(dirname "$0")/.."

if ! rustc --print target-libdir --target wasm32-unknown-unknown 2>/dev/null | xargs -r test -d; then
  if ! command -v rustup >/dev/null || ! rustup target add wasm32-unknown-unknown; then
    echo 'skipped: the target wasm32-unknown-unknown cannot be had here (rustup target add wasm32-unknown-unknown); the program is built without the planner for phones' >&2
    exit 0
  fi
fi
# The same versions of the same crates as in the program, so that both answer alike.
cp Cargo.lock tools/planner-module/Cargo.lock
CARGO_TARGET_DIR="$PWD/target/planner" CARGO_INCREMENTAL=0 \
  cargo build --release --target wasm32-unknown-unknown --manifest-path tools/planner-module/Cargo.toml
# No name and no time: the same bytes each time.
gzip -9 -n -c target/planner/wasm32-unknown-unknown/release/subwell_planner.wasm >src/page/planner.wasm.gz.tmp
mv src/page/planner.wasm.gz.tmp src/page/planner.wasm.gz
echo "planner.wasm.gz: $(wc -c <src/page/planner.wasm.gz) bytes; the next build of the program takes it in"
