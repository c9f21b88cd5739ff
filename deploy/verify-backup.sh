#!/usr/bin/env bash
# Restores a backup into a database of its own, which nobody else reaches, and says what is in it. Touches nothing of the fleet.
#   deploy/verify-backup.sh [FILE]          without a name the newest
. "$(dirname "$0")/common.sh"
. deploy/unpack-backup.sh
file=${1:-$(find "$(setting BLANKWRIGHT_BACKUPS ./backups)" -maxdepth 1 -name 'blankwright-*.tar*' | sort | tail -n 1)}
unpack_backup "$file"
name=blankwright-verify-$$
trap 'docker rm -f -v "$name" >/dev/null 2>&1; rm -rf "$work"' EXIT
docker run -d --name "$name" --network none -e POSTGRES_USER=blankwright -e POSTGRES_PASSWORD="$(openssl rand -hex 16)" \
  "$(setting BLANKWRIGHT_POSTGRES_IMAGE postgres:15-bookworm)" >/dev/null
for _ in $(seq 60); do docker exec "$name" pg_isready -q -h 127.0.0.1 -U blankwright && break; sleep 1; done
docker exec -i "$name" pg_restore -U blankwright -d blankwright --no-owner --no-acl --exit-on-error <"$work/database.dump"
counts=$(docker exec "$name" psql -U blankwright -qAt -F ' ' -c "select 'quotes', count(*) from quoting.quotes union all select 'orders', count(*) from orders.orders
  union all select 'rate revisions', count(*) from rates.revisions union all select 'keys', count(*) from chassis.api_keys")
say "$file restores: $(printf '%s' "$counts" | tr '\n' ',' | sed 's/,/, /g'), settings$([ -d "$work/tls" ] && echo ', certificates'); made $(sed -n 's/^made_at=//p' "$work/about")"
