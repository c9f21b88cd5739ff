#!/usr/bin/env bash
# Keys of callers, made by the owner of the tables, as no part that serves may make any:
#   deploy/keys.sh add sales --label "Front office"       shown this once
#   deploy/keys.sh list
#   deploy/keys.sh revoke ID                              stops within five seconds
. "$(dirname "$0")/common.sh"
needs_settings
as_owner blankwright keys "$@"
