# What quick.sh, all.sh and long.sh share: take steps, and say at the end which were taken, which
# were not, and why. Sourced by them; ends with the first step that fails.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
script=$(basename "$0")
venv=${VENV:-.venv}
workers=${WORKERS:-2} # As many as cores: runs in real time want their share of them.
steps=$(mktemp -d)
account=$steps/account
: >"$account"

# Debian package and one program of it; tests of the bus, the page and the store need them.
programs=(
  mosquitto /usr/sbin/mosquitto chromium /usr/bin/chromium postgresql /usr/lib/postgresql
  nodejs /usr/bin/node iproute2 /usr/sbin/ip spin /usr/bin/spin
  gcc /usr/bin/gcc libc6-dev /usr/include/stdio.h
)

# need_programs: install what Debian has and this machine lacks, or say in one line what to run.
need_programs() {
  local missing=() as=() index
  for ((index = 0; index < ${#programs[@]}; index += 2)); do
    [ -e "${programs[index + 1]}" ] || missing+=("${programs[index]}")
  done
  [ ${#missing[@]} -gt 0 ] || return 0
  if [ "$(id -u)" != 0 ]; then
    if ! command -v sudo >/dev/null; then
      echo "$script: missing: ${missing[*]}; as root run: apt-get update && apt-get install -y --no-install-recommends ${missing[*]}" >&2
      exit 2
    fi
    as=(sudo)
  fi
  "${as[@]}" apt-get update -qq
  "${as[@]}" env DEBIAN_FRONTEND=noninteractive \
    apt-get install -y -qq --no-install-recommends "${missing[@]}"
}

# need_python: make the virtual environment, anew once what it holds has changed, and put it first on
# the path. Packages are those of tests/constraints.txt, byte for byte.
need_python() {
  [ -x "$venv/bin/python" ] || python3 -m venv "$venv"
  if [ ! "$venv/installed" -nt pyproject.toml ] || [ ! "$venv/installed" -nt tests/constraints.txt ]; then
    local install=("$venv/bin/python" -m pip install --quiet --disable-pip-version-check)
    "${install[@]}" --require-hashes -r tests/constraints.txt
    "${install[@]}" --no-deps --no-build-isolation -e .
    touch "$venv/installed"
  fi
  PATH=$(cd "$venv/bin" && pwd):$PATH
}

# step NAME COMMAND...: take one step.
step() {
  local name=$1 begun=$SECONDS
  shift
  printf '\n== %s: %s\n' "$name" "$*"
  if "$@"; then
    note "passed" $((SECONDS - begun)) "$name"
  else
    note "FAILED" $((SECONDS - begun)) "$name"
    exit 1
  fi
}

# start NAME COMMAND...: take a step beside those that follow; `wait_started` shows what it said.
names=() numbers=()
start() {
  local name=$1 place=$steps/${#names[@]}
  shift
  (
    begun=$SECONDS
    "$@" >"$place.said" 2>&1 &
    trap 'kill $!' TERM
    wait $! && code=0 || code=$?
    echo "$code $((SECONDS - begun))" >"$place.came"
  ) &
  names+=("$name: $*") numbers+=($!)
}

wait_started() {
  local index code took failed=0
  for index in "${!numbers[@]}"; do
    wait "${numbers[index]}"
    read -r code took <"$steps/$index.came"
    printf '\n== %s\n' "${names[index]}"
    cat "$steps/$index.said"
    if [ "$code" = 0 ]; then
      note "passed" "$took" "${names[index]%%: *}"
    else
      note "FAILED" "$took" "${names[index]%%: *}"
      failed=1
    fi
  done
  names=() numbers=()
  [ "$failed" = 0 ] || exit 1
}

# left_out NAME WHY: say what is not run here.
left_out() { note "left out" "" "$1: $2"; }

note() { printf '%-9s %6s  %s\n' "$1" "${2:+$2 s}" "$3" >>"$account"; }

tell_account() {
  local code=$?
  [ "$BASHPID" = $$ ] || return 0 # A step that was started and is ended tells no account.
  for number in "${numbers[@]}"; do kill "$number" 2>/dev/null || true; done
  if [ -s "$account" ]; then
    printf '\n== %s, after %s s\n' "$script" "$SECONDS"
    cat "$account"
    [ "$code" = 0 ] || echo "ended with $code: what is not told of was not run"
  fi
  rm -rf "$steps"
}
trap tell_account EXIT

# Parts of all three.
format_and_lint() {
  step "format" ruff format --check .
  step "lint" ruff check .
}

types_and_contracts() {
  step "types" mypy
  step "import contracts" lint-imports
}

rehearse() { step "a dry run" bothsides dryrun sequences/makeup_8.yaml --seed 1; }

# attack CASES SEED [SEQUENCE]: a campaign of so many cases, however long they take.
attack() {
  local sequence=${3:-makeup_8}
  step "campaign of $1 cases" bothsides fuzz "sequences/$sequence.yaml" \
    --cases "$1" --seed "$2" --workers 2 --out "$steps/campaign_$sequence"
}

# What tests/long.sh alone runs, and what of it the gate has a smaller share of.
long_parts=(hash_seeds crashes drawn kills campaign three_causes soak hunting)
long_is_left_out() {
  left_out "hash_seeds" "1,000 seeds; 12 were run"
  left_out "crashes" "every place in every way; a share was run"
  left_out "drawn" "twenty times as many drawn examples"
  left_out "kills" "2,000 kills; a share was run"
  left_out "campaign" "50,000 cases of three sequences and another seed each day"
  left_out "three_causes" "three causes on the two shortest sequences; two were proved, on all"
  left_out "soak" "an hour under load"
  left_out "hunting" "every planted defect; twelve were hunted"
  echo "long.sh takes hours; its last results stand in tests/long_results.json" >>"$account"
}
