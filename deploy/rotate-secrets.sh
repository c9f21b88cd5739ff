#!/usr/bin/env bash
# New secrets between the parts, while the fleet serves.
#   deploy/rotate-secrets.sh service-key      the key that the parts show each other; nobody is refused
#   deploy/rotate-secrets.sh redis            the passwords of the roles in Redis; nobody is refused
#   deploy/rotate-secrets.sh database         the passwords of the roles in PostgreSQL; until each API has been exchanged some requests get 503
. "$(dirname "$0")/common.sh"
needs_settings
word() { openssl rand -base64 36 | tr '+/' '-_' | tr -d '=\n'; }
roll_all() { NO_BACKUP=1 deploy/upgrade.sh "$(setting BLANKWRIGHT_IMAGE blankwright:local)"; }
case ${1:-} in
service-key)
  old=$(setting BLANKWRIGHT_SERVICE_KEY | cut -d_ -f2)
  set_setting BLANKWRIGHT_SERVICE_KEY "bw_$(openssl rand -hex 6)_$(openssl rand -base64 32 | tr '+/' '-_' | tr -d '=\n')"
  roll_all  # its migration makes the new one known
  as_owner blankwright keys revoke "$old"
  ;;
redis)
  for role in API WORKER BEAT; do
    new=$(word); set_setting "BLANKWRIGHT_REDIS_${role}_PASSWORD" "$new"
    redis_as_operator acl setuser "$(printf '%s' $role | tr A-Z a-z)" ">$new" >/dev/null  # beside the old one
  done
  roll_all
  dc up -d --no-deps --wait redis  # knows the new ones alone; quotes are taken while it starts anew
  ;;
database)
  for role in QUOTING ORDERS RATES KEYS; do set_setting "BLANKWRIGHT_${role}_DATABASE_PASSWORD" "$(word)"; done
  roll_all
  ;;
*) sed -n '2,5p' "$0"; exit 2 ;;
esac
