#!/usr/bin/env bash
# What takes hours: all parts, or those that are named. SEED=N for another seed than the day.
# The last result of each part is kept in tests/long_results.json; commit it.
source "$(dirname "$0")/support/steps.sh"
for name in "$@"; do
  [[ " ${long_parts[*]} " = *" $name "* ]] && continue
  echo "$script: no part '$name'; parts: ${long_parts[*]}" >&2
  exit 2
done
need_programs
need_python
seed=${SEED:-$(date -u +%Y%m%d)}

# part NAME COMMAND...: run a part that was asked for, and keep what came of it.
asked=" $* "
part() {
  local name=$1 begun=$SECONDS said=$steps/$1.long
  shift
  if [ "$asked" != "  " ] && [[ "$asked" != *" $name "* ]]; then
    left_out "$name" "not asked for"
    return
  fi
  printf '\n== %s: %s\n' "$name" "$*"
  local verdict=passed code=0
  { "$@" 2>&1 && code=0 || code=$?; echo "$code" >"$said.code"; } | tee "$said"
  code=$(cat "$said.code")
  if [ "$code" -gt 128 ]; then
    note "stopped" $((SECONDS - begun)) "$name, by a signal: no result, none is kept"
    failed=1
    return
  fi
  [ "$code" = 0 ] || verdict=FAILED
  note "$verdict" $((SECONDS - begun)) "$name"
  python -m tests.support.long_results "$name" "$verdict" --seed "$seed" \
    --seconds $((SECONDS - begun)) --command "$*" --said "$said"
  [ "$verdict" = passed ] || failed=1
}
failed=0

whole() { BOTHSIDES_WHOLE=1 python -m pytest -q -rfEs -p no:xdist -p no:randomly "$@"; }
drawn() {
  BOTHSIDES_EXAMPLES_TIMES=20 python -m pytest -q -rfEs -n "$workers" --timeout 0 \
    --hypothesis-seed "$seed" tests/property
}
hunt() {
  python -m tests.quality.hunting --workers 2 || return 1
  python -m pytest -q -rfEs -n "$workers" tests/quality/test_planted_defects.py
}
attack_long() {
  for one in makeup_8 breakout_8 replace_bolt; do
    bothsides fuzz "sequences/$one.yaml" --cases 50000 --seed "$seed" --workers 2 \
      --out "$steps/campaign_$one" || return 1
  done
}
kill_all() {
  python -m tests.support.kill_everything "$steps/kills" --kills 2000 --seed "$seed"
}

part hash_seeds whole tests/scenario/test_hash_seeds.py
part crashes whole tests/scenario/test_crash_everywhere.py
part drawn drawn
part kills kill_all
part campaign attack_long
part three_causes bothsides check --causes 3 sequences/park.yaml sequences/change_tools.yaml
part soak python -m tests.bench.bench_soak --minutes 60
part hunting hunt
python -m tests.support.long_results
exit "$failed"
