#!/usr/bin/env bash
# Guards the layers: viewer -> planner -> imaging, never back; ITK only inside imaging, VTK and Qt only inside viewer; no source
# or test left out of the build. Prints every breach.
set -u
cd "$(dirname "${BASH_SOURCE[0]}")/.."
status=0
forbid() {   # what, pattern, places
  local what=$1 pattern=$2; shift 2
  if grep -rnE --include='*.h' --include='*.cpp' "$pattern" "$@"; then
    echo "^ $what"; status=1
  fi
}
forbid "imaging's public headers are free of ITK and GDCM" '#include [<"](itk|gdcm)' imaging/include
forbid "imaging knows neither planner nor viewer" '#include [<"](planner|viewer)/' imaging
forbid "imaging is free of VTK and Qt" '#include [<"](vtk|Q[A-Z])' imaging
forbid "planner is free of ITK, GDCM, VTK and Qt" '#include [<"](itk|gdcm|vtk|Q[A-Z])' planner
forbid "planner does not know the viewer" '#include [<"]viewer/' planner
forbid "viewer reads volumes through imaging, not through ITK or GDCM" '#include [<"](itk|gdcm)' viewer
forbid "no absolute path of a machine" '"/(home|root|work|tmp)/' imaging planner viewer phantom_data
for source in $(find imaging planner viewer phantom_data -name '*.cpp'); do
  layer=${source%%/*}
  grep -qF "${source#"$layer"/}" "$layer/CMakeLists.txt" || { echo "$source is in no target"; status=1; }
done
for test in $(find tests -name '*_test.cpp'); do
  layer=$(basename "$(dirname "$test")") capability=$(basename "$test" _test.cpp)
  grep -qE "leastharm_(window_test|test|test_whole|pending)\($layer $capability( |\))" tests/CMakeLists.txt || { echo "$test is in no target"; status=1; }
done
exit $status
