#!/usr/bin/env bash
# Everything that must hold before a change lands; people and CI call this same script.
set -euo pipefail
cd "$(dirname "$0")/.."
venv=${VENV:-.venv}

if [ ! -x /usr/sbin/mosquitto ] || [ ! -x /usr/bin/chromium ] || [ ! -d /usr/lib/postgresql ] || [ ! -x /usr/bin/node ] || [ ! -x /usr/sbin/ip ] || [ ! -x /usr/bin/spin ] || [ ! -x /usr/bin/gcc ]; then
  sudo=""
  [ "$(id -u)" = 0 ] || sudo=sudo
  $sudo apt-get update -qq
  DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends \
    mosquitto chromium postgresql nodejs iproute2 spin gcc libc6-dev
fi
[ -x "$venv/bin/python" ] || python3 -m venv "$venv"
"$venv/bin/pip" install --quiet --disable-pip-version-check -e '.[dev]'
PATH=$(cd "$venv/bin" && pwd):$PATH

step() { printf '\n== %s\n' "$*"; "$@"; }
step ruff format --check .
step ruff check .
step mypy
step lint-imports
# On two cores: make-ups take as long as all others together.
step bothsides check sequences/makeup*.yaml &
makeups=$!
step bothsides check sequences/[!m]*.yaml
wait "$makeups"
step bothsides dryrun sequences/makeup_8.yaml --seed 1
campaign=$(mktemp -d)
step bothsides fuzz sequences/makeup_8.yaml --cases 20000 --minutes 5 --workers 2 --out "$campaign"
rm -rf "$campaign"
step python -m pytest -q -n "${WORKERS:-2}" "$@"
