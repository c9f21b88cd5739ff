#!/usr/bin/env bash
# Brings the fleet to another release while it serves: backup, tables, workers, then each API beside the one before.
#   deploy/upgrade.sh              the image of this checkout, built and tagged by its version and revision
#   deploy/upgrade.sh IMAGE        an image that is there, or can be pulled; also the way back to the release before
# Nobody is refused. A quote that is asked for while the workers change waits some seconds longer. NO_BACKUP=1 leaves the backup out.
. "$(dirname "$0")/common.sh"
needs_settings
deploy/make-env.sh >/dev/null  # what this release asks for and .env does not have yet

image=${1:-}
before=$(setting BLANKWRIGHT_IMAGE blankwright:local)
if [ -z "$image" ]; then
  version=$(sed -n 's/^version = "\(.*\)"$/\1/p' pyproject.toml)
  revision=$(git rev-parse HEAD 2>/dev/null || echo unknown)
  image=blankwright:$version-${revision:0:12}
  say "building $image"
  docker build -q -f deploy/Dockerfile -t "$image" --build-arg REVISION="$revision" \
    --build-arg LOCK="$(setting BLANKWRIGHT_LOCK requirements.lock)" \
    --build-arg PYTHON_IMAGE="$(setting BLANKWRIGHT_PYTHON_IMAGE python:3.11-slim-bookworm)" . >/dev/null
else
  docker image inspect "$image" >/dev/null 2>&1 || docker pull -q "$image" >/dev/null
fi

[ -n "${NO_BACKUP:-}" ] || deploy/backup.sh
set_setting BLANKWRIGHT_IMAGE "$image"
[ "$image" = "$before" ] || set_setting BLANKWRIGHT_IMAGE_BEFORE "$before"

say 'the tables'
as_owner blankwright migrate

say 'the workers'
deploy/keep-logs.sh
exchange_workers() { # true when all of them are well
  local one; dc up -d --no-build --no-deps "${workers[@]}" || return 1
  for one in $(dc ps -q "${workers[@]}"); do wait_healthy 300 "$one" || return 1; done
}
exchange_workers || {
  # Nobody was refused: quotes wait while there are no workers.
  dc logs --no-color --tail 5 "${workers[@]}" >&2; set_setting BLANKWRIGHT_IMAGE "$before"
  exchange_workers || die "neither the workers of $image nor those of $before become healthy"
  die "the workers of $image do not become healthy; those of $before work again"
}

pin() { dc exec -T front sh -c "mkdir -p /tmp/pins && echo '\"\" $2;' >/tmp/pins/$1.map"; }
unpin() { dc exec -T front rm -f "/tmp/pins/$1.map"; }

roll() { # an API: as many again beside those that serve; when they are well, the front turns to them, and the old ones end
  local name=$1 old new=() one first
  mapfile -t old < <(dc ps -q "$name")
  dc up -d --no-build --no-deps --no-recreate --scale "$name=$((${#old[@]} * 2))" "$name"
  mapfile -t new < <(dc ps -q "$name" | grep -vxF "$(printf '%s\n' "${old[@]}")")
  for one in "${new[@]}"; do
    wait_healthy 300 "$one" || {
      docker logs --tail 20 "$one" >&2; docker rm -f "${new[@]}" >/dev/null
      die "$name of $image does not become healthy; those before serve on. Back: deploy/upgrade.sh $before"
    }
  done
  first=$(docker inspect -f '{{slice .Name 1}}' "${new[0]}")
  pin "$name" "$first"; reload_front
  docker stop -t 20 "${old[@]}" >/dev/null; deploy/keep-logs.sh; docker rm "${old[@]}" >/dev/null
  unpin "$name"; reload_front
}
for name in "${apis[@]}"; do say "$name"; roll "$name"; done

for name in front redis postgres; do
  wanted=$(dc config --hash "$name" | cut -d' ' -f2)
  has=$(docker inspect -f '{{index .Config.Labels "com.docker.compose.config-hash"}}' "$(dc ps -q "$name")")
  [ "$wanted" = "$has" ] || say "$name is described otherwise now; start it anew when some seconds in the dark do no harm: docker compose up -d $name"
done
say "runs $image; the release before is $before"
