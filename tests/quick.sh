#!/usr/bin/env bash
# The loop while working: what looks at every file, and what one module does, in three minutes.
source "$(dirname "$0")/support/steps.sh"
need_python

format_and_lint
start "types, import contracts, a dry run" bash -c 'mypy && lint-imports && bothsides dryrun sequences/makeup_8.yaml --seed 1'
export BOTHSIDES_EXAMPLES_TIMES=0.1
step "tests" python -m pytest -q -rfEs -n "$workers" --dist worksteal \
  tests/architecture tests/unit tests/property "$@"
wait_started
left_out "proofs, campaign, all other tests" "tests/all.sh runs them before a change lands"
