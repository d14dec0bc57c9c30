#!/usr/bin/env bash
# The gate: everything that must hold before a change lands; people and CI call this same script.
source "$(dirname "$0")/support/steps.sh"
need_programs
need_python

format_and_lint
# Two cores: make-ups share most of what is proved, break-outs all of it, and neither shares with
# the other; types and contracts are looked at beside them.
start "proofs of make-ups" bothsides check sequences/makeup*.yaml
types_and_contracts
step "proofs of all others" bothsides check sequences/[!m]*.yaml
rehearse
wait_started
attack 6000 1
step "tests" python -m pytest -q -rfEs -n "$workers" --dist worksteal "$@"
long_is_left_out
