#!/usr/bin/env bash
# New certificates for a fleet that serves; nobody is refused.
#   deploy/renew-certificates.sh              new ones from make-certificates.sh for Redis, PostgreSQL and the front (if it has one of those)
#   deploy/renew-certificates.sh --front      the front reads again what lies in front/fullchain.pem and front/key.pem of the TLS folder
. "$(dirname "$0")/common.sh"
needs_settings
folder=$(setting BLANKWRIGHT_TLS_FOLDER); [ -n "$folder" ] || die 'this fleet runs without TLS (deploy/make-env.sh --tls NAME)'
[ "${1:-}" = --front ] || deploy/make-certificates.sh "$folder" "$(setting BLANKWRIGHT_FRONT_NAME localhost)" 2>/dev/null

matches() { # certificate, key: whether they belong together
  cmp -s <(openssl x509 -in "$1" -noout -pubkey) <(openssl pkey -in "$2" -pubout)
}
matches "$folder/front/fullchain.pem" "$folder/front/key.pem" || die 'key.pem of the front does not belong to fullchain.pem; nothing was changed'
openssl x509 -in "$folder/front/fullchain.pem" -noout -checkend 0 >/dev/null || die 'the certificate of the front is over already; nothing was changed'

if [ "${1:-}" != --front ]; then
  redis_as_operator config set tls-cert-file /run/tls/server.crt tls-key-file /run/tls/server.key tls-ca-cert-file /run/authority/ca.crt >/dev/null
  dc exec -T postgres sh -c 'install -m 0600 /run/tls/server.key /tmp/server.key.new && mv -f /tmp/server.key.new /tmp/server.key'
  sql -c 'select pg_reload_conf()' >/dev/null
fi
reload_front

wanted=$(openssl x509 -in "$folder/front/fullchain.pem" -noout -serial)
shown=$(openssl s_client -connect "$(setting BLANKWRIGHT_ADDRESS 127.0.0.1):$(setting BLANKWRIGHT_PORT 8750)" </dev/null 2>/dev/null | openssl x509 -noout -serial)
[ "$wanted" = "$shown" ] || die "the front shows another certificate ($shown) than lies in the folder ($wanted)"
say "the front shows the certificate with $shown; good until $(openssl x509 -in "$folder/front/fullchain.pem" -noout -enddate | cut -d= -f2)"
