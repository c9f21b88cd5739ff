#!/bin/sh
# Starts Redis with a user for each role of the fleet. Each has its own password and reaches the keys of the suite alone; none may
# administer, list keys, empty the database or speak to other clients. `operator` is for people; `health` can ask for a sign of life and
# nothing else. Only SHA-256 of a password is written down.
set -eu
umask 077
hash_of() { printf '%s' "$1" | sha256sum | cut -d' ' -f1; }
data='-@all +@read +@write +@connection +@transaction +@scripting -@admin -@dangerous'
cat >/tmp/users.acl <<END
user default off resetpass
user operator on #$(hash_of "${OPERATOR_PASSWORD:?}") ~* &* +@all
user health on nopass resetkeys resetchannels -@all +ping
user api on #$(hash_of "${API_PASSWORD:?}") ~blankwright:* resetchannels $data -@blocking
user worker on #$(hash_of "${WORKER_PASSWORD:?}") ~blankwright:* resetchannels $data
user beat on #$(hash_of "${BEAT_PASSWORD:?}") ~blankwright:* resetchannels -@all +@connection -@admin -@dangerous +@transaction +lpush +llen +sadd +smembers
END
unset OPERATOR_PASSWORD API_PASSWORD WORKER_PASSWORD BEAT_PASSWORD
exec docker-entrypoint.sh redis-server --aclfile /tmp/users.acl "$@"
