#!/usr/bin/env bash
# Writes a complete .env with random secrets, readable by its owner alone. One that is there keeps what it says, and gets what it lacks:
# so it is also the first step of an upgrade to a release that asks for more.
#   deploy/make-env.sh                               without TLS; the front on 127.0.0.1 only
#   deploy/make-env.sh --tls quotes.example.com      with certificates in ./tls and TLS between all parts
set -euo pipefail
cd "$(dirname "$0")/.."
file=${BLANKWRIGHT_ENV_FILE:-.env}; umask 077; touch "$file"; chmod 0600 "$file"
word() { openssl rand -base64 36 | tr '+/' '-_' | tr -d '=\n'; }
key() { printf 'bw_%s_%s' "$(openssl rand -hex 6)" "$(openssl rand -base64 32 | tr '+/' '-_' | tr -d '=\n')"; }
put() { # a name and a value, unless the name has one; an empty line of it gives way
  if grep -q "^$1=." "$file"; then return; fi
  grep -v "^$1=" "$file" >"$file.part" || true
  printf '%s=%s\n' "$1" "$2" >>"$file.part"; mv "$file.part" "$file"; echo "$1"
}
for name in $(sed -n 's/^\(BLANKWRIGHT_[A-Z_]*\)=$/\1/p' deploy/example.env); do
  case $name in *_KEY) put "$name" "$(key)" ;; *) put "$name" "$(word)" ;; esac
done
if [ "${1:-}" = --tls ]; then
  put BLANKWRIGHT_TLS_FOLDER ./tls
  folder=$(sed -n 's/^BLANKWRIGHT_TLS_FOLDER=//p' "$file")
  [ -s "$folder/authority/ca.crt" ] || deploy/make-certificates.sh "$folder" "${2:?name the front as callers know it, such as quotes.example.com}" 2>/dev/null
  put BLANKWRIGHT_FRONT_NAME "${2:-localhost}"
  put COMPOSE_FILE compose.yaml:deploy/compose.tls.yaml
  put BLANKWRIGHT_DATABASE_QUERY '?sslmode=verify-full&sslrootcert=/run/authority/ca.crt'
  put BLANKWRIGHT_REDIS_SCHEME rediss
  put BLANKWRIGHT_REDIS_QUERY '?ssl_ca_certs=/run/authority/ca.crt'
fi
