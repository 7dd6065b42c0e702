#!/usr/bin/env bash
# From nothing to a printed sampling plan of an invented mummy. Everything it makes lies in out/ and build/.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

export XDG_CACHE_HOME=$PWD/build/cache   # typefaces are indexed here, not in the home folder
bash phantom_data/install.sh
echo "Building (the first time takes a few minutes) ..." >&2
log=$(mktemp)
trap 'rm -f "$log"' EXIT
if ! { cmake --preset release && cmake --build --preset release --target leastharm make_phantom; } >"$log" 2>&1; then
  tail -n 40 "$log" >&2
  echo "The build failed; the lines above say where." >&2
  exit 1
fi
exec build/bin/leastharm demo --output out/demo
