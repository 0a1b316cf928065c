#!/bin/sh
# Make the environment and run COMMAND in it:  sh .ci/setup.sh [COMMAND...]
# QGIS comes from the system, everything else from requirements.lock.txt into .venv, which sees the system's QGIS.
# QGIS_PYTHON: a Python that can import qgis (default /usr/bin/python3).  NO_APT=1: install no system packages.
# WITH_POSTGIS=1: a database server too, for the tests that need one, which fail without.
set -eu
cd -- "$(dirname -- "$0")/.."
python=${QGIS_PYTHON:-/usr/bin/python3}
unset PYTHONPATH PYTHONHOME PYTHONUSERBASE VIRTUAL_ENV
export PYTHONNOUSERSITE=1 PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1 LANG="${LANG:-C.UTF-8}"

missing=
"$python" -c 'import qgis.core' 2>/dev/null || missing="$missing python3-qgis qgis-providers"
"$python" -c 'import ensurepip, venv' 2>/dev/null || missing="$missing python3-venv"
# the desktop, a screen for it and a font: for the tests that look at the real thing, and for pictures
command -v qgis >/dev/null || missing="$missing qgis"
command -v Xvfb >/dev/null || missing="$missing xvfb"
command -v pdftotext >/dev/null || missing="$missing poppler-utils" # reads the pages of a PDF back in a test
[ -e /usr/share/fonts/truetype/dejavu ] || missing="$missing fonts-dejavu-core"
root=
[ "$(id -u)" = 0 ] || root=sudo
may_install() {
    [ -z "${NO_APT:-}" ] && command -v apt-get >/dev/null && command -v ${root:-apt-get} >/dev/null
}
install() {
    echo "Installing Debian packages: $*" >&2
    $root apt-get update -qq && $root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -qq --no-install-recommends "$@" >/dev/null
}
if [ -n "$missing" ]; then
    may_install || { echo "These Debian packages are missing:$missing. Install them, then start again." >&2; exit 3; }
    # shellcheck disable=SC2086 (a list of words)
    install $missing
fi
if [ -n "${WITH_POSTGIS:-}" ] && ! ls /usr/share/postgresql/*/extension/postgis.control >/dev/null 2>&1; then
    { may_install && install postgresql-postgis; } ||
        echo "There is no PostGIS here and none was installed: tests that need it will fail." >&2
fi

stamp=$("$python" -c '
import hashlib, pathlib, sys
from qgis.core import Qgis
lock = hashlib.sha256(pathlib.Path("requirements.lock.txt").read_bytes()).hexdigest()
print(lock, sys.version.split()[0], Qgis.QGIS_VERSION)')
if [ "$(cat .venv/stamp 2>/dev/null || true)" != "$stamp" ]; then
    echo "Making .venv" >&2
    rm -rf .venv
    "$python" -m venv --system-site-packages .venv
    # --ignore-installed: the system's pyproj, good enough by its number, does not find its data from within a venv
    .venv/bin/python -m pip install -q --ignore-installed --only-binary :all: --require-hashes -r requirements.lock.txt
    echo "$stamp" > .venv/stamp
fi

runtime=$(mktemp -d)
trap 'rm -rf "$runtime"' EXIT
export XDG_RUNTIME_DIR="$runtime" QT_QPA_PLATFORM=offscreen QGIS_DISABLE_MESSAGE_HOOKS=1
"$@"
