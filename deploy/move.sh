#!/usr/bin/env bash
# To another server, with everything.
#   deploy/move.sh pack [FOLDER]       on the old one: nobody is served from here on, what is under way is finished, one file is written
#   deploy/move.sh unpack FILE         on the new one, in a checkout of the same release: settings, certificates, database, up
# The old one stays as it is until you take it down (docker compose down), so the way back is: docker compose start front.
. "$(dirname "$0")/common.sh"
. deploy/unpack-backup.sh
case ${1:-} in
pack)
  needs_settings
  dc stop front
  for _ in $(seq 60); do
    under_way=$(sql -c "select count(*) from quoting.quotes where status = 'accepted'"); [ "$under_way" = 0 ] && break; sleep 2
  done
  say "$under_way quotes are still under way; they go along, and are finished there"
  deploy/backup.sh "${2:-}"
  say 'copy it to the new server, unpack it there, then let the name of the front point to it'
  ;;
unpack)
  [ ! -s "$env_file" ] || die "$env_file is there already; this is for a server without a fleet (restore.sh is for one with)"
  unpack_backup "${2:?name a backup}"; settings=$work
  install -m 0600 "$settings/settings.env" "$env_file"
  more=$(setting BLANKWRIGHT_SETTINGS_FILE ./settings.env); if [ -f "$settings/more.env" ] && [ ! -e "$more" ]; then cp "$settings/more.env" "$more"; fi
  folder=$(setting BLANKWRIGHT_TLS_FOLDER)
  if [ -n "$folder" ] && [ -d "$settings/tls" ] && [ ! -e "$folder/front" ]; then mkdir -p "$folder"; cp -R "$settings/tls/." "$folder"; chmod 0755 "$folder"/*/; fi
  image=$(setting BLANKWRIGHT_IMAGE blankwright:local)
  docker image inspect "$image" >/dev/null 2>&1 || { docker pull -q "$image" 2>/dev/null || dc build; } >/dev/null
  dc up -d --no-build --wait --wait-timeout 300 postgres redis
  SAME_EPOCH=1 deploy/restore.sh "$2"
  ;;
*) sed -n '2,5p' "$0"; exit 2 ;;
esac
