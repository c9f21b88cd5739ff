#!/usr/bin/env bash
# Pulls the images of others and writes them into .env by digest, so that the same bytes run until this is called again:
#   deploy/pin-images.sh            then deploy/upgrade.sh, and docker compose up -d redis postgres front
. "$(dirname "$0")/common.sh"
needs_settings
while read -r variable image; do
  docker pull -q "$image" >/dev/null || die "$image cannot be pulled"
  digest=$(docker image inspect -f '{{range .RepoDigests}}{{println .}}{{end}}' "$image" | sed -n 's/.*@//p' | head -n 1)
  [ -n "$digest" ] || die "$image has no digest"
  set_setting "$variable" "$image@$digest"; say "$variable=$image@$digest"
done <<'END'
BLANKWRIGHT_REDIS_IMAGE redis:7-bookworm
BLANKWRIGHT_POSTGRES_IMAGE postgres:15-bookworm
BLANKWRIGHT_FRONT_IMAGE nginx:stable-bookworm
BLANKWRIGHT_PYTHON_IMAGE python:3.11-slim-bookworm
END
