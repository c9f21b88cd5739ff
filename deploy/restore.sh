#!/usr/bin/env bash
# Puts the database back as a backup has it. What was accepted after the backup is gone from it.
#   deploy/restore.sh FILE
# The settings of this server stay. The backup is restored beside the database that serves; then callers get 503 and Retry-After for as long
# as everything needs to start. A backup that does not restore changes nothing. The database before is kept as blankwright_before_restore.
. "$(dirname "$0")/common.sh"
. deploy/unpack-backup.sh
needs_settings
unpack_backup "${1:?name a backup}"
dc up -d --wait --no-deps postgres redis
psql_top() { dc exec -T postgres psql -U blankwright -d template1 -v ON_ERROR_STOP=1 -q "$@"; }
psql_top -c 'drop database if exists blankwright_restored with (force)' -c 'create database blankwright_restored'
dc exec -T postgres pg_restore -U blankwright -d blankwright_restored --no-owner --no-acl --exit-on-error <"$work/database.dump"
highest=$(sql -c 'select quote_number from quoting.quotes order by position desc limit 1' 2>/dev/null || true)
say 'restored beside the one that serves; now the two change places'
dc stop "${apis[@]}" "${workers[@]}"
# The one that was there is kept under another name until the next restore.
psql_top -c 'drop database if exists blankwright_before_restore with (force)'
psql_top -c "select pg_terminate_backend(pid) from pg_stat_activity where datname = 'blankwright'" >/dev/null
psql_top -c 'alter database blankwright rename to blankwright_before_restore' -c 'alter database blankwright_restored rename to blankwright'
# Travellers and doorbells of quotes that are not there any more.
redis_as_operator flushall >/dev/null
as_owner blankwright migrate
# What was given out since the backup is not given out again. Where nothing was, as in a move, the epoch goes on.
[ -n "${SAME_EPOCH:-}" ] || as_owner blankwright epoch new --why "restored from $(basename "$1")" ${highest:+--highest-seen "$highest"}
dc up -d --no-build --wait --wait-timeout 300
say 'restored. Keys that were revoked after the backup are good again: deploy/keys.sh list'
