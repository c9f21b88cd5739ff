#!/usr/bin/env bash
# How many of a part run. It is written into .env, so that nothing that is done later undoes it.
#   deploy/scale.sh glass-worker 3          a worker, an API, or the sweeper
. "$(dirname "$0")/common.sh"
needs_settings
name=${1:?name a part}; count=${2:?say how many}
case $name in
  sweeper) variable=BLANKWRIGHT_SWEEPERS ;;
  *-worker | *-api) variable=BLANKWRIGHT_$(printf '%s' "$name" | tr 'a-z-' 'A-Z_')S ;;
  *) die "only workers, APIs and the sweeper can be several" ;;
esac
set_setting "$variable" "$count"
dc up -d --no-build --no-deps --no-recreate --wait --wait-timeout 300 "$name"
say "$name: $(dc ps -q "$name" | wc -l)"
