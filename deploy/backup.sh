#!/usr/bin/env bash
# One file with everything that a new server needs: database, settings, certificates. It is written under another name and gets its own only
# when it is whole, so a backup that is there is no half one. Readable by its owner alone; with a passphrase file it is encrypted too.
#   deploy/backup.sh [FOLDER]       every night; prints the name of the file. Copy it to another machine.
. "$(dirname "$0")/common.sh"
needs_settings
folder=${1:-$(setting BLANKWRIGHT_BACKUPS ./backups)}; mkdir -p "$folder"
work=$(mktemp -d "$folder/.part.XXXXXX"); trap 'rm -rf "$work"' EXIT

dc exec -T postgres pg_dump -U blankwright -Fc blankwright >"$work/database.dump"
tables=$(dc exec -T postgres pg_restore --list <"$work/database.dump" | grep -c ' TABLE DATA ') || die 'the dump cannot be read; there is no new backup'
[ "$tables" -ge 10 ] || die "the dump has the data of $tables tables only; there is no new backup"
cp "$env_file" "$work/settings.env"
more=$(setting BLANKWRIGHT_SETTINGS_FILE ./settings.env); if [ -f "$more" ]; then cp "$more" "$work/more.env"; fi
tls=$(setting BLANKWRIGHT_TLS_FOLDER); if [ -n "$tls" ]; then cp -R "$tls" "$work/tls"; fi
at=$(date -u +%Y-%m-%dT%H%M%SZ)
printf 'made_at=%s\nimage=%s\ntables=%s\n' "$at" "$(setting BLANKWRIGHT_IMAGE blankwright:local)" "$tables" >"$work/about"
(cd "$work" && find . -type f ! -name SHA256SUMS -print0 | sort -z | xargs -0 sha256sum >SHA256SUMS)

file=$folder/blankwright-$at.tar; passphrase=$(setting BLANKWRIGHT_BACKUP_PASSPHRASE_FILE)
if [ -n "$passphrase" ]; then
  file=$file.enc
  tar -C "$work" -cf - . | openssl enc -aes-256-cbc -pbkdf2 -iter 600000 -salt -pass "file:$passphrase" -out "$work.whole"
else
  tar -C "$work" -cf "$work.whole" .
fi
mv "$work.whole" "$file"
# The suite tells how old its last good backup is.
sql -c "insert into chassis.backups (at, bytes, kind, made_by) values (now(), $(stat -c %s "$file"), 'fleet', 'deploy/backup.sh')"
# The oldest go, and never the newest.
find "$folder" -maxdepth 1 -name 'blankwright-*.tar*' | sort -r | tail -n "+$(($(setting BLANKWRIGHT_BACKUPS_KEPT 30) + 1))" | xargs -r rm -f
say "$file  $(du -h "$file" | cut -f1), the data of $tables tables"
