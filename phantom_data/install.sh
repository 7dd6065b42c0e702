#!/usr/bin/env bash
# Installs the Debian packages that Leastharm is built and tested with; does nothing where all are there.
set -euo pipefail

packages=(
  # build
  g++ cmake ninja-build pkg-config git ca-certificates
  libinsighttoolkit5-dev libgdcm-dev libcharls-dev libvtk9-dev libvtk9-qt-dev qtbase5-dev libeigen3-dev
  nlohmann-json3-dev libcli11-dev libssl-dev libopenjp2-7-dev libxrl-dev coinor-libcbc-dev zlib1g-dev
  libpango1.0-dev libcairo2-dev fonts-lato
  # test
  libgtest-dev libgmock-dev libbenchmark-dev dicom3tools poppler-utils xvfb xauth python3
  python3-rdflib python3-jsonschema
)

missing=()
for package in "${packages[@]}"; do
  [ "$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null)" = installed ] || missing+=("$package")
done
[ ${#missing[@]} -eq 0 ] && exit 0

run=()
if [ "$(id -u)" -ne 0 ]; then
  if command -v sudo >/dev/null && sudo -n true 2>/dev/null; then
    run=(sudo -n)
  else
    echo "These Debian packages are missing, and installing them needs root:" >&2
    echo "  apt-get install --no-install-recommends ${missing[*]}" >&2
    echo "Ask whoever looks after this machine to run that line, then start this again." >&2
    exit 2
  fi
fi
echo "Installing ${#missing[@]} Debian packages ..." >&2
log=$(mktemp)
if ! { "${run[@]}" env DEBIAN_FRONTEND=noninteractive apt-get update -qq &&
       "${run[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}"; } \
       >"$log" 2>&1 </dev/null; then
  echo "Installing failed; the last lines say why:" >&2
  tail -n 15 "$log" >&2
  rm -f "$log"
  exit 2
fi
rm -f "$log"
