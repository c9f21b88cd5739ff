#!/usr/bin/env bash
# Keys of callers, in the database itself and by the owner of the tables: the first ones, and when nobody has an administrator's key.
#   deploy/keys.sh make sales --label "Front office"      shown this once; --scope read_only, --until 2027-03-31
#   deploy/keys.sh list
#   deploy/keys.sh rotate ID --overlap 48                 a key in its place; the old one is good for 48 hours more
#   deploy/keys.sh revoke ID                              stops within five seconds
. "$(dirname "$0")/common.sh"
needs_settings
as_owner blankwright keys "$@"
