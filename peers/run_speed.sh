#!/usr/bin/env bash
# Speed of the emf inverse and of the kiln's Monte Carlo, ours against vectorised NumPy, with the ratios.
set -euo pipefail
cd "$(dirname "$0")/.."
target="${CARGO_TARGET_DIR:-target}"
python="$target/peers-venv/bin/python"
[ -x "$python" ] || { echo "no NumPy yet: run ./check peers, or ./check speed" >&2 && exit 3; }
# A forced kernel slows NumPy's solver down; compare against what it can do.
unset OPENBLAS_CORETYPE OPENBLAS_L2_SIZE
cargo build --release --quiet -p icepoint
cargo bench --quiet -p icepoint-sensors --bench emf -- "emf/inverse/K" >/dev/null 2>&1
out="$target/check/speed"
mkdir -p "$out"
"$target/release/icepoint" design examples/burnout-kiln.toml --out "$out" >/dev/null 2>&1 || [ -f "$out/burnout-kiln.toml" ]
"$python" peers/speed.py "$target/release/icepoint" "$out/burnout-kiln.toml"
