#!/usr/bin/env bash
# The engine throws the log of a container away with the container. This keeps what every container has said since it was last asked, in
# one file a day (./logs, 30 days); upgrade.sh calls it before it exchanges anything, and the nightly backup should.
#   deploy/keep-logs.sh
. "$(dirname "$0")/common.sh"
needs_settings
folder=$(setting BLANKWRIGHT_LOGS ./logs); mkdir -p "$folder"
since=$(cat "$folder/.kept-until" 2>/dev/null || echo 1970-01-01T00:00:00Z); until=$(date -u +%Y-%m-%dT%H:%M:%SZ)
for container in $(dc ps -aq); do
  docker logs --timestamps --since "$since" --until "$until" "$container" 2>&1 | sed "s/^/$(docker inspect -f '{{slice .Name 1}}' "$container") /"
done | gzip >>"$folder/$(date -u +%F).log.gz"
echo "$until" >"$folder/.kept-until"
find "$folder" -name '*.log.gz' -mtime "+$(setting BLANKWRIGHT_LOGS_KEPT_DAYS 30)" -delete
