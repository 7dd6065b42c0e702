#!/usr/bin/env bash
# Installs, builds and runs every test; closes with "N passed, N failed, N skipped".
set -uo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

export XDG_CACHE_HOME=$PWD/build/cache   # typefaces are indexed here, not in the home folder
bash phantom_data/install.sh || exit $?
if ! { cmake --preset release && cmake --build --preset release; } ; then
  echo "The build failed; the lines above say where." >&2
  exit 1
fi
report=$PWD/build/test-report.xml
rm -f "$report"
ctest --test-dir build --output-on-failure --parallel 2 --output-junit "$report"
status=$?
attribute() { grep -m1 -o "[[:space:]]$1=\"[0-9]*\"" "$report" | grep -o '[0-9]*'; }
tests=$(attribute tests) failed=$(attribute failures) skipped=$(attribute skipped)
echo "$((tests - failed - skipped)) passed, $failed failed, $skipped skipped"
if [ "$tests" -eq 0 ]; then exit 1; fi
exit $status
